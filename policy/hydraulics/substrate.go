package hydraulics

// Provenance says what a substrate's curve rests on.
type Provenance string

// The provenances.
const (
	Published    Provenance = "published"    // a fitted set read in the source
	Illustrative Provenance = "illustrative" // made to meet the published anchors it names
	FromSite     Provenance = "site"         // the site's own parameters
	Fitted       Provenance = "fitted"       // fitted from the site's own points
)

// Substrate is what a container is filled with.
type Substrate struct {
	Name          string
	TotalPorosity float64 // m3/m3
	Retention     Retention
	Provenance    Provenance
	Source        string
	FitRMSE       float64 // m3/m3, of a Fitted substrate
	BulkDensity   float64 // g/cm3, 0 when not told
}

// Validate returns what is wrong with the substrate, all at once, each as a
// *FieldError whose field is the key of the site file (total_porosity,
// retention.theta_s, ...), or nil.
func (s Substrate) Validate() error {
	var f faults
	f.check(within(s.TotalPorosity, 0.2, 1), "total_porosity", "%.4g is outside 0.2 to 1 m3/m3; expected the pore share of the volume, 0.75 to 0.97 for most substrates", s.TotalPorosity)
	porosity := f.none()
	f.add("retention.", s.Retention.Validate())
	if porosity && s.Retention.ThetaS > s.TotalPorosity {
		f.check(false, "retention.theta_s", "%.4g is above total_porosity %.4g; expected at most the pores, of which some keep air", s.Retention.ThetaS, s.TotalPorosity)
	}
	f.check(within(s.BulkDensity, 0, 2.5), "bulk_density", "%.4g is outside 0 to 2.5 g/cm3; expected dry mass per volume; leave it out when not known", s.BulkDensity)
	return f.err()
}
