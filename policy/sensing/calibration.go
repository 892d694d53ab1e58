package sensing

// Calibration turns what a probe sends into volumetric water content. The zero
// value takes the probe's own water_content as it is.
type Calibration struct {
	Kind        string    // "" (as sent), topp, ledieu, malicki, organic forms ..., polynomial, points, weight
	Polynomial  []float64 // of permittivity, constant term first
	BulkDensity float64   // g/cm3, for malicki
	TareKG      float64   // of container and dry substrate, for weight
	CropKG      float64   // allowance for the plant, for weight
	VolumeML    float64   // of the container, for weight
	PoreEC      string    // model of pore EC from bulk EC: "", hilhorst, rhoades
	Offset      float64   // permittivity offset of the hilhorst model, 0: its default
}
