package diagnose

import "math"

// Warming learns by how much a zone's readings rise as its substrate warms, beside what
// its water does: readings of permittivity follow temperature, by how much and which way
// hangs on probe, water and salt. It is the mean and the precision of a normal belief
// (recursive least squares with forgetting). The zero value knows what is known of probes.
type Warming struct {
	Precision float32 // of the slope beyond the prior's, (m3/m3 per K)^-2
	Weighted  float32 // precision times slope
}

const (
	// warmingSD is the standard deviation between probes of the slope, m3/m3 per K: in wet,
	// salty stone wool with seedlings that drank next to nothing it was 0.0019 (measured
	// slab telemetry of 2019, Hemming et al. 2020,
	// doi:10.4121/uuid:88d22c60-21b3-4ea8-90db-20249a5be2a7).
	warmingSD = 0.002
	// warmingSure is the least standard deviation that is left, m3/m3 per K: the slope
	// moves with water and salt. This and the two below: common practice, no source.
	warmingSure = 0.0005
	// warmingKeeps is what an old judgement counts for as one more is taken.
	warmingKeeps = 0.97
	// warmingClips is how many standard deviations off a rise counts at most.
	warmingClips = 2
)

// perK is the slope and its standard deviation, m3/m3 per K.
func (w *Warming) perK() (slope, sd float64) {
	p := 1/(warmingSD*warmingSD) + float64(w.Precision)
	return float64(w.Weighted) / p, math.Max(1/math.Sqrt(p), warmingSure)
}

// learn takes by how much readings rose beyond what the slope and the water make of it,
// m3/m3 of standard deviation sd, while the substrate warmed by so many K.
func (w *Warming) learn(warmed, rose, sd float64) {
	slope, _ := w.perK()
	rose = slope*warmed + math.Min(math.Max(rose, -warmingClips*sd), warmingClips*sd)
	w.Precision = warmingKeeps*w.Precision + float32(warmed*warmed/(sd*sd))
	w.Weighted = warmingKeeps*w.Weighted + float32(warmed*rose/(sd*sd))
}

// warmthOf tells whose temperature the readings are held against.
type warmthOf uint8

const (
	ofNothing warmthOf = iota
	ofSubstrate
	ofAir
)

// probeCel is the temperature that the readings follow, Cel: the substrate's, or the
// air's where that is not told.
func probeCel(in *Inputs) (float64, warmthOf) {
	switch {
	case in.RootCel.Known:
		return in.RootCel.Value, ofSubstrate
	case in.AirCel.Known:
		return in.AirCel.Value, ofAir
	}
	return 0, ofNothing
}
