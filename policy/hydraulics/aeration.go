package hydraulics

import "math"

// Aeration says when a zone counts as saturated.
type Aeration struct {
	CriticalAirFilledPorosity float64 // m3/m3
	ToleratedShare            float64 // of the root volume, 0 to 1
}

// DefaultAeration is the aeration of a site that tells none: critical
// air-filled porosity 0.10 (used for container beds in Acta Agrophysica
// 10:113-120, 2007) in more than half of the root volume (common practice, no
// source).
var DefaultAeration = Aeration{CriticalAirFilledPorosity: 0.10, ToleratedShare: 0.5}

// Validate returns what is wrong, all at once, each as a *FieldError whose
// field is the key of the site file, or nil.
func (a Aeration) Validate() error {
	var f faults
	f.check(within(a.CriticalAirFilledPorosity, 0.01, 0.5), "critical_air_filled_porosity", "%.4g is outside 0.01 to 0.5 m3/m3; expected the air below which roots suffer; leave it out for the default %.2g", a.CriticalAirFilledPorosity, DefaultAeration.CriticalAirFilledPorosity)
	f.check(within(a.ToleratedShare, 0, 1), "tolerated_share", "%.4g is outside 0 to 1; expected the share of the root volume that may lack air; leave it out for the default %.2g", a.ToleratedShare, DefaultAeration.ToleratedShare)
	return f.err()
}

// AirFilledPorosity returns the mean air-filled porosity, m3/m3: total porosity
// less water. It is 0 where the mean is told above total porosity.
func (p *Profile) AirFilledPorosity(mean float64) float64 {
	return math.Max(0, p.substrate.TotalPorosity-mean)
}

// SaturatedShare returns the share of the container's volume in which the
// air-filled porosity is below criticalAFP, 0 to 1. It rises with the mean. At
// container capacity it is never 0 where theta_s leaves less air than that,
// because the bottom is full of water.
func (p *Profile) SaturatedShare(mean, criticalAFP float64) float64 {
	return p.shareBelow(p.criticalSuction(criticalAFP), mean)
}

// criticalSuction is the suction in cm below which a layer lacks air: -Inf where
// none ever does, as theta_s leaves enough; +Inf where each does, as theta_r
// leaves too little.
func (p *Profile) criticalSuction(criticalAFP float64) float64 {
	limit := p.substrate.TotalPorosity - criticalAFP
	r := p.substrate.Retention
	switch {
	case r.ThetaS <= limit:
		return math.Inf(-1)
	case r.ThetaR >= limit:
		return math.Inf(1)
	}
	return r.Suction(limit) * CMPerKPa
}

// shareBelow is the share of the volume under the height at which suction in cm
// reaches critical.
func (p *Profile) shareBelow(critical, mean float64) float64 {
	z := math.Min(math.Max(critical-p.bottom(mean), 0), p.height)
	return math.Min(1, polyIntegral(p.area, z)/p.volume)
}

// SaturationPoint returns the mean water content above which the zone is
// saturated, m3/m3: more than the tolerated share of its volume lacks air.
// MaxMean where the substrate keeps air enough even when full of water, or the
// whole volume is tolerated; MinMean where it never has air enough.
func (p *Profile) SaturationPoint(a Aeration) float64 {
	critical := p.criticalSuction(a.CriticalAirFilledPorosity)
	switch {
	case math.IsInf(critical, -1) || a.ToleratedShare >= 1:
		return p.MaxMean()
	case math.IsInf(critical, 1):
		return p.MinMean()
	}
	return p.at(critical - p.heightOfShare(a.ToleratedShare))
}

// heightOfShare is the height below which a share of the volume lies, cm. The
// volume grows steadily with height, so Newton's steps in a bracket find it.
func (p *Profile) heightOfShare(share float64) float64 {
	if share <= 0 {
		return 0
	}
	if share >= 1 {
		return p.height
	}
	lo, hi := 0.0, p.height
	z := share * p.height
	for range 100 {
		e := polyIntegral(p.area, z) - share*p.volume
		if e < 0 {
			lo = z
		} else {
			hi = z
		}
		next := z - e/(p.area[0]+z*(p.area[1]+z*p.area[2]))
		if !(next >= lo && next <= hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-z) < 1e-12*p.height {
			return next
		}
		z = next
	}
	return z
}

// CriticalAirFilledPorosity returns the air-filled porosity that is critical at
// a root-zone temperature, m3/m3, given that at 20 Cel: the one that diffuses
// OxygenBurden times as much by DefaultDiffusivity. Warm roots need more air:
// 0.10 at 20 Cel is 0.142 at 30 Cel and 0.070 at 10 Cel.
func CriticalAirFilledPorosity(at20Cel, temperatureCel float64) float64 {
	_, k := DefaultDiffusivity.power(1) // phi cancels
	return at20Cel * math.Pow(OxygenBurden(temperatureCel), 1/k)
}

// AerationMargin returns how far the zone is from lacking oxygen: towards 1 it
// is open, 0 critical, below 0 worse, -1 without air. It falls, or stays, as the
// mean rises and as the root zone warms; no step in it.
//
// It looks at one height: the one below which the tolerated share of the volume
// lies, because the zone counts as saturated when that height lacks air. There,
// with e the air-filled porosity, ec the critical one at 20 Cel and Ds/D0 of
// DefaultDiffusivity,
//
//	r = [Ds/D0(e) / Ds/D0(ec)] / OxygenBurden(T)     supply over need
//	margin = 1 - 1/r where r >= 1,  r - 1 where r < 1
//
// Both forms meet at r = 1 with the same slope. So at 20 Cel it is below 0
// exactly when the zone is saturated, 0.5 where twice the needed oxygen can
// diffuse in, 0.9 where ten times. The form is this project's own.
// Temperature in Cel; outside 0 to 40, the nearer end.
func (p *Profile) AerationMargin(mean, temperatureCel float64, a Aeration) float64 {
	return p.marginAt(p.heightOfShare(a.ToleratedShare), a.CriticalAirFilledPorosity, mean, temperatureCel)
}

// marginAt is the margin that the layer at a height in cm makes.
func (p *Profile) marginAt(height, criticalAir, mean, temperatureCel float64) float64 {
	s := (p.bottom(mean) + height) / CMPerKPa
	air := math.Max(0, p.substrate.TotalPorosity-p.substrate.Retention.WaterContent(s))
	x := air / criticalAir
	r := x * x * math.Sqrt(x) / OxygenBurden(temperatureCel) // the model's e^(5/2); phi cancels
	if r >= 1 {
		return 1 - 1/r
	}
	return r - 1
}

// Aerated is a profile with an aeration worked in: what SaturatedShare,
// SaturationPoint and AerationMargin answer, for each reading, without working
// out the same heights again.
type Aerated struct {
	profile  *Profile
	aeration Aeration
	critical float64 // suction below which a layer lacks air, cm
	height   float64 // below which the tolerated share lies, cm
}

// Aerate works an aeration into the profile.
func (p *Profile) Aerate(a Aeration) Aerated {
	return Aerated{profile: p, aeration: a, critical: p.criticalSuction(a.CriticalAirFilledPorosity), height: p.heightOfShare(a.ToleratedShare)}
}

// SaturatedShare returns the share of the volume that lacks air, 0 to 1.
func (e Aerated) SaturatedShare(mean float64) float64 { return e.profile.shareBelow(e.critical, mean) }

// SaturationPoint returns the mean above which the zone is saturated, m3/m3.
func (e Aerated) SaturationPoint() float64 { return e.profile.SaturationPoint(e.aeration) }

// Margin returns the aeration margin, as AerationMargin defines it.
func (e Aerated) Margin(mean, temperatureCel float64) float64 {
	return e.profile.marginAt(e.height, e.aeration.CriticalAirFilledPorosity, mean, temperatureCel)
}
