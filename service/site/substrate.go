package site

import (
	"fmt"
	"strings"

	"rhizostat/policy/hydraulics"
)

// parameters are the four of a van Genuchten curve, in the words of the file.
var parameters = []string{"theta_r", "theta_s", "alpha_per_kpa", "n"}

// substrate reads one entry of substrates.
func (b *builder) substrate(v *value) (hydraulics.Substrate, bool) {
	s := hydraulics.Substrate{Name: v.name, TotalPorosity: v.field("total_porosity").number, BulkDensity: v.field("bulk_density_g_per_cm3").number,
		Provenance: hydraulics.FromSite, Source: "the site file"}
	if src := v.field("source"); src.given() {
		s.Source = src.text
	}
	retention := v.field("retention")
	if !v.sound() || !b.curveKeys(retention) {
		return s, false
	}
	if retention.field("points").given() {
		return s, b.fit(retention, &s)
	}
	curve := hydraulics.Retention{ThetaR: retention.field("theta_r").number, ThetaS: retention.field("theta_s").number,
		AlphaPerKPa: retention.field("alpha_per_kpa").number, N: retention.field("n").number}
	s.Retention = curve
	switch {
	case curve.ThetaR >= curve.ThetaS:
		b.say(retention.field("theta_r"), fmt.Sprintf("%s is not below theta_s %s", format(curve.ThetaR), format(curve.ThetaS)), "theta_r below theta_s", "")
		return s, false
	case curve.ThetaS > s.TotalPorosity:
		b.say(retention.field("theta_s"), fmt.Sprintf("%s is above the total porosity %s", format(curve.ThetaS), format(s.TotalPorosity)),
			"at most the total porosity", "")
		return s, false
	}
	if err := s.Validate(); err != nil {
		b.refuse(v, err)
		return s, false
	}
	b.suspect(retention, s)
	return s, true
}

// curveKeys checks that a retention has either all four parameters or points.
func (b *builder) curveKeys(v *value) bool {
	const either = "theta_r, theta_s, alpha_per_kpa and n, or points"
	var missing []string
	for _, name := range parameters {
		if v.field(name).node == nil {
			missing = append(missing, name)
		}
	}
	points := v.field("points").node != nil
	switch {
	case points && len(missing) < len(parameters):
		b.say(v, "both parameters and points are given", "one of the two: "+either, "")
	case !points && len(missing) == len(parameters):
		b.say(v, "there is no curve", either, "")
	case !points && len(missing) > 0:
		b.say(v, strings.Join(missing, " and ")+" missing", either, "")
	default:
		return true
	}
	return false
}

// coarseFit is the fit error above which points and curve disagree by more
// than a suction table's own repeatability, m3/m3 (common practice, no source).
const coarseFit = 0.02

// fit puts a curve through measured points.
func (b *builder) fit(retention *value, s *hydraulics.Substrate) bool {
	v := retention.field("points")
	points := make([]hydraulics.Point, len(v.pairs))
	for i, p := range v.pairs {
		points[i] = hydraulics.Point{SuctionKPa: p[0], WaterContent: p[1]}
		if p[0] < 0 {
			b.say(v, fmt.Sprintf("the suction %s kPa of point %d is below 0", format(p[0]), i+1), "suction as a positive number", "")
			return false
		}
		if p[1] <= 0 || p[1] > s.TotalPorosity {
			b.say(v, fmt.Sprintf("the water content %s of point %d cannot be", format(p[1]), i+1),
				fmt.Sprintf("m3/m3 above 0 and at most the total porosity %s", format(s.TotalPorosity)), "the order is [suction in kPa, water content]")
			return false
		}
	}
	curve, rmse, err := hydraulics.Fit(points, s.TotalPorosity)
	if err != nil {
		b.refuse(retention, err)
		return false
	}
	s.Retention, s.FitRMSE, s.Provenance = curve, rmse, hydraulics.Fitted
	s.Source = fmt.Sprintf("fitted to %d points of the site file", len(points))
	if rmse > coarseFit {
		b.warn(v, fmt.Sprintf("the curve misses the points by %s m3/m3 (root mean square)", round(rmse, 3)), "at most "+format(coarseFit), "look for a point that was misread")
	}
	return true
}

// suspect warns of a curve whose scale is likely in another unit: at 10 kPa a
// growing substrate has let go of some of its water and not of all. The limits
// 0.97 theta_s and theta_r + 0.01 are a suggestion, not from a source.
func (b *builder) suspect(v *value, s hydraulics.Substrate) {
	at := s.Retention.WaterContent(10)
	const hint = "is alpha in 1/kPa? a value in 1/cm times 10.197, in 1/hPa times 10, in 1/m times 0.10197"
	switch {
	case at > 0.97*s.Retention.ThetaS:
		b.warn(v, fmt.Sprintf("at 10 kPa the curve still holds %s, nearly all of theta_s %s", round(at, 3), format(s.Retention.ThetaS)), "", hint)
	case at < s.Retention.ThetaR+0.01:
		b.warn(v, fmt.Sprintf("at 10 kPa the curve holds only %s, hardly more than theta_r %s", round(at, 3), format(s.Retention.ThetaR)), "", hint)
	}
}

// builtIn warns, once each, of a built-in substrate that is only a shape made
// to meet published anchors.
func (b *builder) builtIn(v *value) {
	s := b.substrates[v.text]
	if s.Provenance == hydraulics.Illustrative && !b.warned[v.text] {
		b.warned[v.text] = true
		b.warn(v, fmt.Sprintf("the built-in substrate %s is illustrative: its curve meets published values (%s) and is not measured on yours", v.text, s.Source), "",
			"measure water release at 1, 5 and 10 kPa and give it as retention points")
	}
}
