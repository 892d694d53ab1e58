package hydraulics

import "math"

// curve is a quantity that falls, or stays, as the bottom suction grows: cubic
// Hermite pieces between nodes with exact values and slopes (slopes limited so
// that each piece is monotone, Fritsch & Carlson 1980, SIAM J. Numer. Anal.
// 17:238-246).
type curve struct {
	x []float64 // bottom suction, cm, rising
	y []float64 // value, falling
	d []float64 // dy/dx, at most 0

	// index[k] is the piece that holds the value k even steps below y[0]: it
	// leaves cellOfY a few nodes to search.
	index []int32
	scale float64 // steps per unit of y
}

// indexSteps is the number of steps of a curve's index.
const indexSteps = 512

// limit bends the slopes back to where every piece is monotone. The condition
// is theirs, section 4: with the secant D, slopes within a circle of radius 3 D.
func (c *curve) limit() {
	for i := 0; i+1 < len(c.x); i++ {
		secant := (c.y[i+1] - c.y[i]) / (c.x[i+1] - c.x[i])
		if secant >= 0 {
			c.d[i], c.d[i+1] = 0, 0
			continue
		}
		a, b := c.d[i]/secant, c.d[i+1]/secant
		if r := math.Hypot(a, b); r > 3 {
			c.d[i], c.d[i+1] = 3*a/r*secant, 3*b/r*secant
		}
	}
}

// cellOfX returns the index of the piece that holds x, which is in range.
func (c *curve) cellOfX(x float64) int {
	lo, hi := 0, len(c.x)-1
	for hi-lo > 1 {
		mid := int(uint(lo+hi) >> 1)
		if c.x[mid] <= x {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// cellOfY returns the index of a piece that holds the value y, in range.
func (c *curve) cellOfY(y float64) int {
	k := int((c.y[0] - y) * c.scale)
	if k > indexSteps-1 {
		k = indexSteps - 1
	}
	return c.search(y, int(c.index[k]), int(c.index[k+1])+1)
}

// search returns the piece from lo to before hi that holds the value y.
func (c *curve) search(y float64, lo, hi int) int {
	for hi-lo > 1 {
		mid := int(uint(lo+hi) >> 1)
		if c.y[mid] >= y {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// at returns the value at x within piece i.
func (c *curve) at(i int, x float64) float64 {
	h := c.x[i+1] - c.x[i]
	t := (x - c.x[i]) / h
	c1, c2, c3 := c.cubic(i, h)
	return c.y[i] + t*(c1+t*(c2+t*c3))
}

// slopeAt returns dy/dx at x within piece i.
func (c *curve) slopeAt(i int, x float64) float64 {
	h := c.x[i+1] - c.x[i]
	t := (x - c.x[i]) / h
	c1, c2, c3 := c.cubic(i, h)
	return (c1 + t*(2*c2+t*3*c3)) / h
}

// cubic returns the coefficients of piece i in t = 0 to 1 after its first value.
func (c *curve) cubic(i int, h float64) (c1, c2, c3 float64) {
	dy := c.y[i+1] - c.y[i]
	a, b := c.d[i]*h, c.d[i+1]*h
	return a, 3*dy - 2*a - b, a + b - 2*dy
}

// solve returns the x at which piece i takes the value y, by Newton's steps
// kept inside a shrinking bracket.
func (c *curve) solve(i int, y float64) float64 {
	h := c.x[i+1] - c.x[i]
	dy := c.y[i+1] - c.y[i]
	if dy == 0 {
		return c.x[i+1]
	}
	c1, c2, c3 := c.cubic(i, h)
	want := y - c.y[i]
	lo, hi := 0.0, 1.0
	t := want / dy
	for range 60 {
		e := t*(c1+t*(c2+t*c3)) - want
		if e > 0 { // still too wet: the value falls with t
			lo = t
		} else {
			hi = t
		}
		slope := c1 + t*(2*c2+t*3*c3)
		next := t - e/slope
		if !(next >= lo && next <= hi) { // also NaN, from a flat spot
			next = (lo + hi) / 2
		}
		step := next - t
		t = next
		if math.Abs(step) < 1e-7 { // Newton squares the error: the next step would be below 1e-13
			break
		}
	}
	return c.x[i] + t*h
}

// grade returns points from a to b that crowd towards a: the first first away,
// each distance ratio times the one before; a and b are among them.
func grade(into []float64, a, b, first, ratio float64) []float64 {
	into = append(into, a)
	for d := first; a+d < b-0.3*d*(ratio-1); d *= ratio {
		into = append(into, a+d)
	}
	return append(into, b)
}

// settle makes the table exactly monotone: rounding may lift a value by a unit
// in the last place where the curve is flat. Then it limits the slopes and lays
// the index.
func (c *curve) settle() {
	for i := range c.y {
		c.d[i] = math.Min(c.d[i], 0)
		if i > 0 {
			c.y[i] = math.Min(c.y[i], c.y[i-1])
		}
	}
	c.limit()
	end := len(c.y) - 1
	c.scale = indexSteps / (c.y[0] - c.y[end])
	c.index = make([]int32, indexSteps+1)
	for k := range c.index {
		// A hair above, so that rounding of the step never skips a piece.
		c.index[k] = int32(c.search(c.y[0]-(float64(k)-1e-6)/c.scale, 0, end))
	}
	c.index[indexSteps] = int32(end - 1)
}
