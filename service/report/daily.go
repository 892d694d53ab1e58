package report

import (
	"math"
	"time"
)

// Daily are the figures of one irrigation day. A figure that the record does
// not carry is NaN.
type Daily struct {
	From, To                time.Time
	InBand, Above, Below    float64 // share of the time with a known water content and band
	SaturatedS              float64 // s
	Peak, Trough            float64 // m3/m3
	OvernightDryback        float64 // m3/m3, of the night before its first shot
	IrrigationML, DrainML   float64 // per container
	DrainFraction           float64 // drained over applied
	UptakeML                float64 // per container
	Shots                   int
	ForecastError, Coverage float64 // of the forecasts issued in it, over the 24 h that they cover
	Usual                   bool    // those are of a zone watered as usual
}

// Daily works out the figures of each irrigation day between From and To. A
// first or last day that is cut short is told as far as it goes.
func (d *Days) Daily() []Daily {
	d.Score()
	starts := d.starts()
	var days []Daily
	for i := 0; i+1 < len(starts); i++ {
		span := Span{later(starts[i], d.From), earlier(starts[i+1], d.To)}
		if !span.From.Before(span.To) {
			continue
		}
		day := Daily{From: span.From, To: span.To, IrrigationML: sum(d.Shots, span), DrainML: sum(d.Drains, span), UptakeML: math.NaN()}
		day.Shots = len(within(d.Shots, span))
		if len(d.Uptake) > 0 {
			day.UptakeML = sum(d.Uptake, span)
		}
		day.DrainFraction = math.NaN()
		if day.IrrigationML > 0 {
			day.DrainFraction = day.DrainML / day.IrrigationML
		}
		for _, s := range d.Saturated {
			day.SaturatedS += s.within(span.From, span.To).Seconds()
		}
		d.wetness(&day, span)
		day.OvernightDryback = d.overnight(span)
		d.foresight(&day, span)
		days = append(days, day)
	}
	return days
}

// wetness works out the shares of time about the band, the peak and the trough.
// A value counts until the next one, gaps left out.
func (d *Days) wetness(day *Daily, span Span) {
	day.Peak, day.Trough = math.NaN(), math.NaN()
	var in, above, below float64
	for i, w := range d.Water {
		if w.At.Before(span.From) || !w.At.Before(span.To) {
			continue
		}
		day.Peak, day.Trough = fmax(day.Peak, w.Mean), fmin(day.Trough, w.Mean)
		until := span.To
		if i+1 < len(d.Water) {
			until = earlier(d.Water[i+1].At, span.To)
		}
		band, ok := d.bandAt(w.At)
		seconds := until.Sub(w.At).Seconds()
		if !ok || until.Sub(w.At) > largestGap {
			continue
		}
		switch {
		case w.Mean > band.FullPoint:
			above += seconds
		case w.Mean < band.RefillPoint:
			below += seconds
		default:
			in += seconds
		}
	}
	all := in + above + below
	day.InBand, day.Above, day.Below = in/all, above/all, below/all // NaN when there is nothing
}

// overnight is the fall from the last peak before a day to the last value
// before its first shot, NaN when the record does not have both.
func (d *Days) overnight(span Span) float64 {
	shots := within(d.Shots, span)
	if len(shots) == 0 {
		return math.NaN()
	}
	first := shots[0].At
	// The night goes back to the last shot of the day before; a night without
	// one within two days is not one that this record knows.
	var last time.Time
	for _, s := range d.Shots {
		if s.At.Before(span.From) {
			last = s.At
		}
	}
	if last.IsZero() || span.From.Sub(last) > 48*time.Hour {
		return math.NaN()
	}
	peak, trough := math.NaN(), math.NaN()
	for _, w := range d.Water {
		if !w.At.Before(last) && w.At.Before(first) {
			peak, trough = fmax(peak, w.Mean), w.Mean
		}
	}
	return peak - trough
}

// foresight averages the scores of the forecasts that were issued in a day.
func (d *Days) foresight(day *Daily, span Span) {
	var errors, inside float64
	var compared, withInterval int
	for i := range d.Forecasts {
		f := &d.Forecasts[i]
		if f.compared == 0 || f.IssuedAt.Before(span.From) || !f.IssuedAt.Before(span.To) {
			continue
		}
		errors += f.MeanAbsoluteError * float64(f.compared)
		compared += f.compared
		day.Usual = day.Usual || f.Usual
		if f.withInterval > 0 {
			inside += f.Inside * float64(f.withInterval)
			withInterval += f.withInterval
		}
	}
	day.ForecastError = errors / float64(compared) // NaN when there is none
	day.Coverage = inside / float64(withInterval)
}

// within returns the volumes of a span that are above zero.
func within(volumes []Volume, span Span) []Volume {
	var in []Volume
	for _, v := range volumes {
		if v.ML > 0 && !v.At.Before(span.From) && v.At.Before(span.To) {
			in = append(in, v)
		}
	}
	return in
}

func sum(volumes []Volume, span Span) float64 {
	total := 0.0
	for _, v := range within(volumes, span) {
		total += v.ML
	}
	return total
}

// fmax and fmin take the number where one of the two is NaN.
func fmax(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}

func fmin(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
