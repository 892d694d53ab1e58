package wire

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// Decimals that published numbers are rounded to.
const (
	decimalsContent     = 4 // m3/m3 and shares of a volume
	decimalsProbability = 2 // confidence, probability, stability
	decimalsEC          = 2 // mS/cm
	decimalsTemperature = 1 // Cel
)

var powersOfTen = [...]float64{1, 10, 100, 1000, 10000}

// maxNumber bounds what is published: anything larger is a mistake of ours, and
// an integer beyond 2^53 would not survive a reader's float64.
const maxNumber = 1 << 53

// NumberError says that a value to be published is not a number.
type NumberError struct {
	Name  string
	Value float64
}

func (e *NumberError) Error() string {
	return fmt.Sprintf("%s: %v cannot be published; expected a finite number below 2^53; this is a defect of the engine, report it with the log",
		e.Name, e.Value)
}

// checker rounds numbers and keeps the first one that cannot be published.
type checker struct{ err *NumberError }

// round gives v to so many decimals, never -0.
func (c *checker) round(name string, v float64, decimals int) float64 {
	p := powersOfTen[decimals]
	r := math.Round(v*p) / p
	if !(math.Abs(r) < maxNumber) { // also NaN
		if c.err == nil {
			c.err = &NumberError{name, v}
		}
		return 0
	}
	return r + 0 // -0 + 0 is 0
}

func (c *checker) content(name string, v float64) float64 { return c.round(name, v, decimalsContent) }

// failed gives the first bad number as an error of where.
func (c *checker) failed(where string) error {
	if c.err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", where, c.err)
}

// instant is a time as it is published: UTC, whole seconds, the zero time kept.
func instant(t time.Time) time.Time {
	if t.IsZero() {
		return time.Time{}
	}
	return t.UTC().Truncate(time.Second)
}

func appendInstant(dst []byte, t time.Time) []byte {
	dst = append(dst, '"')
	dst = t.UTC().Truncate(time.Second).AppendFormat(dst, time.RFC3339)
	return append(dst, '"')
}

// appendDecimal writes v rounded to so many decimals, without trailing zeros.
// It is what strconv's shortest form gives for such values, at a third of its
// cost: a forecast holds 2,601 of them.
func (c *checker) appendDecimal(dst []byte, name string, v float64, decimals int) []byte {
	r := math.Round(v * powersOfTen[decimals])
	if !(math.Abs(r) < maxNumber) { // also NaN
		if c.err == nil {
			c.err = &NumberError{name, v}
		}
		return append(dst, '0')
	}
	n := int64(r)
	if n < 0 {
		dst = append(dst, '-')
		n = -n
	}
	scale := int64(powersOfTen[decimals])
	dst = strconv.AppendInt(dst, n/scale, 10)
	fraction := n % scale
	if fraction == 0 {
		return dst
	}
	dst = append(dst, '.')
	for scale /= 10; fraction != 0; scale /= 10 {
		dst = append(dst, byte('0'+fraction/scale))
		fraction %= scale
	}
	return dst
}
