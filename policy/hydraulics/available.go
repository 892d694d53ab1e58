package hydraulics

import "math"

// The suctions between which water counts, kPa. Source: de Boodt & Verdonck
// (1972), Acta Hort. 26, who take 10, 50 and 100 cm of water as 1, 5 and 10 kPa;
// here they are kPa.
const (
	EasilyAvailableFromKPa = 1.0  // wetter, the pores that hold it belong to air
	EasilyAvailableToKPa   = 5.0  // drier, roots slow
	BufferingToKPa         = 10.0 // drier, roots stop drinking at ease
)

// AvailableML returns the water in the container above the profile whose mean
// suction is lowerSuctionKPa, mL; 0 when it is drier than that. It takes the
// table's value of that profile, within 1e-6 m3/m3.
func (p *Profile) AvailableML(mean, lowerSuctionKPa float64) float64 {
	m := math.Min(math.Max(mean, p.MinMean()), p.MaxMean())
	return p.volume * math.Max(0, m-p.at(lowerSuctionKPa*CMPerKPa-p.middle))
}

// EasilyAvailableML returns the water a crop takes with ease between two
// irrigations, mL per container: from 1 kPa mean suction to 5 kPa.
//
// The definition's suctions belong to the middle of a short sample, so here they
// are the mean suction of the container, that at its volume-weighted mean
// height. A container taller than some 20 cm never rests at 1 kPa, because what
// it holds above capacity drains: there the water counts from container
// capacity on.
func (p *Profile) EasilyAvailableML() float64 {
	wet := math.Min(p.capacity, p.MeanAtSuction(EasilyAvailableFromKPa))
	return p.volume * math.Max(0, wet-p.MeanAtSuction(EasilyAvailableToKPa))
}

// BufferingML returns the water held in reserve between 5 and 10 kPa mean
// suction, mL per container; from container capacity on where that is drier.
func (p *Profile) BufferingML() float64 {
	wet := math.Min(p.capacity, p.MeanAtSuction(EasilyAvailableToKPa))
	return p.volume * math.Max(0, wet-p.MeanAtSuction(BufferingToKPa))
}
