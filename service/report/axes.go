package report

import (
	"fmt"
	"math"
	"time"
)

// frame is a panel of the picture with what its axes stand for.
type frame struct {
	x, y, width, height float64 // px
	from, to            time.Time
	low, high           float64 // of the upright axis
}

func (f *frame) atTime(t time.Time) float64 {
	return f.x + f.width*float64(t.Sub(f.from))/float64(f.to.Sub(f.from))
}

func (f *frame) atValue(v float64) float64 {
	return f.y + f.height*(f.high-v)/(f.high-f.low)
}

// holds reports whether a moment lies in the panel.
func (f *frame) holds(t time.Time) bool { return !t.Before(f.from) && !t.After(f.to) }

// clip brings a value to the panel's own.
func (f *frame) clip(v float64) float64 { return math.Min(math.Max(v, f.low), f.high) }

// ticks returns round values from low to high, at most most of them.
func ticks(low, high float64, most int) []float64 {
	raw := (high - low) / float64(most)
	size := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*size >= raw*(1-1e-9) {
			size *= m
			break
		}
	}
	var out []float64
	for i := math.Ceil(low/size - 1e-9); i*size <= high+size*1e-9; i++ {
		out = append(out, i*size+0) // no -0
	}
	return out
}

// decimalsOf is how many decimals tell ticks apart.
func decimalsOf(ticks []float64) int {
	if len(ticks) < 2 {
		return 2
	}
	return int(max(0, math.Ceil(-math.Log10(ticks[1]-ticks[0])-1e-9)))
}

// timeTick is one line of the time axis.
type timeTick struct {
	at    time.Time
	label string // "" where there is no room
	day   bool   // local midnight
}

// timeTicks returns lines at whole local hours, denser for shorter spans. Local
// clock times are built by date, so that days of 23 and 25 hours come out right.
func timeTicks(from, to time.Time, loc *time.Location, width float64) []timeTick {
	hours := to.Sub(from).Hours()
	every := 24
	for _, e := range []int{1, 2, 3, 6, 12} {
		if hours/float64(e)*44 <= width { // 44 px hold a label such as 06:00
			every = e
			break
		}
	}
	dayWidth := width / hours * 24
	y, m, d := from.In(loc).Date()
	var out []timeTick
	for i := 0; ; i++ {
		midnight := time.Date(y, m, d+i, 0, 0, 0, 0, loc)
		if midnight.After(to) {
			return out
		}
		for h := 0; h < 24; h += every {
			t := time.Date(y, m, d+i, h, 0, 0, 0, loc)
			if t.Before(from) || t.After(to) {
				continue
			}
			tick := timeTick{at: t, day: h == 0}
			switch {
			case h > 0:
				tick.label = fmt.Sprintf("%02d:00", h)
			case dayWidth >= 40 || i%int(math.Ceil(40/dayWidth)) == 0:
				tick.label = t.Format("2 Jan")
			}
			out = append(out, tick)
		}
	}
}

// thin keeps what a line of this many pixels can show of values in the order of
// time: in each pixel the first, the lowest, the highest and the last.
func thin(points []point) []point {
	if len(points) < 3 {
		return points
	}
	var out []point
	for i := 0; i < len(points); {
		j, lowest, highest := i, i, i
		for ; j < len(points) && math.Floor(points[j].x) == math.Floor(points[i].x); j++ {
			if points[j].y < points[lowest].y {
				lowest = j
			}
			if points[j].y > points[highest].y {
				highest = j
			}
		}
		last := -1
		for _, k := range []int{i, min(lowest, highest), max(lowest, highest), j - 1} {
			if k != last {
				out = append(out, points[k])
			}
			last = k
		}
		i = j
	}
	return out
}
