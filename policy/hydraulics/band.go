package hydraulics

import (
	"fmt"
	"math"
)

// BandSpec is the band as the site file asks for it; a NaN or nil is not asked.
type BandSpec struct {
	FullPoint            *float64 // m3/m3
	RefillPoint          *float64 // m3/m3
	MinAirFilledPorosity *float64 // m3/m3, 0.15 when nothing is asked
	MaxSuctionKPa        *float64 // 5 when nothing is asked
	OvernightDryback     float64  // m3/m3 wanted
	DrainFraction        float64  // wanted, 0 to 1
	PoreEC               *float64 // mS/cm wanted, nil: not steered
}

// Band is the target band of a zone.
type Band struct {
	FullPoint         float64 // m3/m3
	RefillPoint       float64 // m3/m3
	OvernightDryback  float64 // m3/m3
	DrainFraction     float64 // 0 to 1
	FullPointSource   string  // where the number comes from, a sentence part
	RefillPointSource string
}

// The defaults of a band.
const (
	// DefaultMinAirFilledPorosity, m3/m3: the least of a well drained potting
	// mix (Department of Agriculture Western Australia, potting mixes).
	DefaultMinAirFilledPorosity = 0.15
	// DefaultMaxSuctionKPa, kPa: where easily available water ends (de Boodt &
	// Verdonck 1972).
	DefaultMaxSuctionKPa = 5.0
	// MinBandWidth, m3/m3: narrower than what probes tell apart (common
	// practice, no source).
	MinBandWidth = 0.02
)

// NewBand works the band of a container out, or says why the container cannot
// hold the one asked for, each fault as a *FieldError whose field is the key of
// the site file.
//
// The full point is the lower of container capacity, above which water drains
// away, and what leaves the required air, total porosity less
// MinAirFilledPorosity. The refill point is the mean water content at the
// allowed mean suction. Plain numbers override each, and are held against the
// container all the same.
func NewBand(p *Profile, spec BandSpec) (Band, error) {
	var f faults
	b := Band{OvernightDryback: spec.OvernightDryback, DrainFraction: spec.DrainFraction}
	f.check(within(spec.OvernightDryback, 0, 0.6), "overnight_dryback", "%.4g is outside 0 to 0.6 m3/m3; expected the fall of water content wanted overnight", spec.OvernightDryback)
	f.check(within(spec.DrainFraction, 0, 0.9), "drain_fraction", "%.4g is outside 0 to 0.9; expected drained over applied volume, 0.1 to 0.3 for most", spec.DrainFraction)
	if ec, ok := asked(spec.PoreEC); ok {
		f.check(within(ec, 0.1, 20), "pore_ec", "%.4g is outside 0.1 to 20 mS/cm; leave it out when it is not steered", ec)
	}
	b.FullPoint, b.FullPointSource = p.fullPoint(spec, &f)
	b.RefillPoint, b.RefillPointSource = p.refillPoint(spec, &f)
	if f.none() {
		p.checkWidth(b, spec, &f)
	}
	if err := f.err(); err != nil {
		return Band{}, err
	}
	return b, nil
}

// asked is the number told, if one was.
func asked(x *float64) (float64, bool) {
	if x == nil || *x != *x {
		return 0, false
	}
	return *x, true
}

// fullPoint is the upper edge and where it comes from.
func (p *Profile) fullPoint(spec BandSpec, f *faults) (float64, string) {
	if full, ok := asked(spec.FullPoint); ok {
		f.check(within(full, 0.02, 1), "full_point", "%.4g is outside 0.02 to 1 m3/m3; 60 %% is 0.60", full)
		// Half a thousandth: a capacity that was printed and copied is no mistake.
		f.check(!(full > p.capacity+0.0005 && full <= 1), "full_point", "%.4g is above the container capacity %.4f of %s; expected at most that, as water above it drains away; lower it, or tell the substrate's own retention if the capacity is wrong", full, p.capacity, p)
		return full, "the site's own number"
	}
	air, told := asked(spec.MinAirFilledPorosity)
	if !told {
		air = DefaultMinAirFilledPorosity
	}
	f.check(within(air, 0, 0.6), "min_air_filled_porosity", "%.4g is outside 0 to 0.6 m3/m3; leave it out for the default %.2g", air, DefaultMinAirFilledPorosity)
	if airy := p.TotalPorosity() - air; airy < p.capacity {
		return airy, fmt.Sprintf("the total porosity %.4f less the required air %.4f", p.TotalPorosity(), air)
	}
	return p.capacity, fmt.Sprintf("the container capacity of %s", p)
}

// refillPoint is the lower edge and where it comes from.
func (p *Profile) refillPoint(spec BandSpec, f *faults) (float64, string) {
	if refill, ok := asked(spec.RefillPoint); ok {
		f.check(within(refill, 0.01, 1), "refill_point", "%.4g is outside 0.01 to 1 m3/m3; 50 %% is 0.50", refill)
		driest := p.substrate.Retention.ThetaR
		f.check(!(refill < driest && refill >= 0.01), "refill_point", "%.4g is below theta_r %.4g of %s; expected water that roots can take; raise it", refill, driest, p)
		return refill, "the site's own number"
	}
	suction, told := asked(spec.MaxSuctionKPa)
	if !told {
		suction = DefaultMaxSuctionKPa
	}
	f.check(within(suction, 0.5, 30), "max_suction_kpa", "%.4g is outside 0.5 to 30 kPa; leave it out for the default %g", suction, DefaultMaxSuctionKPa)
	return p.MeanAtSuction(suction), fmt.Sprintf("a mean suction of %g kPa in %s", suction, p)
}

// checkWidth refuses a band with its edges crossed or too close, and says which
// number to change.
func (p *Profile) checkWidth(b Band, spec BandSpec, f *faults) {
	if b.FullPoint-b.RefillPoint >= MinBandWidth-1e-9 {
		return
	}
	field, remedy := "refill_point", "lower refill_point"
	if _, plain := asked(spec.RefillPoint); !plain {
		field, remedy = "max_suction_kpa", "allow more suction"
	}
	if _, plain := asked(spec.FullPoint); !plain {
		if b.FullPoint < p.capacity {
			remedy += fmt.Sprintf(", ask for less air (min_air_filled_porosity), or use a taller container or a coarser substrate: at capacity %s keeps %.4f air", p, p.AirFilledPorosity(p.capacity))
		} else {
			remedy += fmt.Sprintf(": at capacity the mean suction is %.2g kPa already", p.MeanSuctionKPa(p.capacity))
		}
	} else {
		remedy += " or raise full_point"
	}
	what := "is not below"
	if b.RefillPoint < b.FullPoint {
		what = fmt.Sprintf("is less than %.2g below", MinBandWidth)
	}
	f.check(false, field, "the refill point %.4f (%s) %s the full point %.4f (%s); expected a band at least %.2g m3/m3 wide; %s", b.RefillPoint, b.RefillPointSource, what, b.FullPoint, b.FullPointSource, MinBandWidth, remedy)
}

// Position says where a mean lies: below, in or above the band.
func (b Band) Position(mean float64) string {
	switch {
	case mean < b.RefillPoint:
		return "below"
	case mean > b.FullPoint:
		return "above"
	}
	return "in"
}

// Width returns the full point less the refill point, m3/m3.
func (b Band) Width() float64 { return math.Max(0, b.FullPoint-b.RefillPoint) }
