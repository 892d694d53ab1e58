// Package hydraulics is the physics of a container: how much water and air a
// substrate of a given retention holds at each depth of a pot of a given shape,
// when its roots lack air, and the band that follows.
package hydraulics

// Retention is a van Genuchten water retention curve.
type Retention struct {
	ThetaR      float64 // residual water content, m3/m3
	ThetaS      float64 // saturated water content, m3/m3
	AlphaPerKPa float64 // scale, 1/kPa
	N           float64 // shape, above 1
}

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

// Wall is what a container's side is made of.
type Wall string

// The walls.
const (
	Solid      Wall = "solid"
	Fabric     Wall = "fabric"
	AirPruning Wall = "air-pruning"
)

// Container is a shape: round (diameters) or rectangular (length and width,
// with the bottom's own where it tapers). Heights are of the fill.
type Container struct {
	Name             string
	HeightCM         float64
	TopDiameterCM    float64
	BottomDiameterCM float64
	LengthCM         float64
	WidthCM          float64
	BottomLengthCM   float64 // 0: LengthCM
	BottomWidthCM    float64 // 0: WidthCM
	Wall             Wall
}

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

// Aeration says when a zone counts as saturated.
type Aeration struct {
	CriticalAirFilledPorosity float64 // m3/m3
	ToleratedShare            float64 // of the root volume, 0 to 1
}
