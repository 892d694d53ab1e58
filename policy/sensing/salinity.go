package sensing

import "math"

// Electrical conductivity, mS/cm. Everything the engine handles is at 25 Cel.

const (
	// DefaultHilhorstOffset is the permittivity at which the bulk EC of the model
	// vanishes, by Hilhorst (2000), from memory; 1.9 to 7.6 are met in use, which
	// moves pore EC by two thirds at a permittivity of 12.
	DefaultHilhorstOffset = 4.1
	// hilhorstLeast is the least permittivity above the offset at which the model
	// is trusted: the quotient grows without bound below.
	hilhorstLeast = 2.0
	// poreECLeastWaterContent is the water content above which probes in
	// substrates were found to agree with the EC of the solution, m3/m3 (published
	// comparison of substrate probes); drier, pore EC is unknown.
	poreECLeastWaterContent = 0.35
	// temperatureUnknown stands in for a substrate temperature that is not
	// reported, Cel: 5 K off it, pore EC of Hilhorst is 2.3 % off.
	temperatureUnknown = 20.0
	// archieExponent is the power of the saturation that bulk EC goes with in one and
	// the same medium: 2 where water wets it (Archie 1942; from memory).
	archieExponent = 2
	// saltIndexLeast is the water content below which bulk EC says nothing of the salt,
	// m3/m3: the water of thin films carries next to no current (Rhoades, Raats & Prather
	// 1976), and by Hilhorst (2000) bulk EC then falls off faster than by any power.
	saltIndexLeast = 0.2
)

// EC25Linear brings an EC measured at t to 25 Cel.
//
//	EC25 = EC / (1 + a (t - 25)),   a 0.0191 to 0.022 1/K, customary 0.02
//
// False where the divisor is not above 0.1, some -20 Cel.
func EC25Linear(ec, tCel, perKelvin float64) (float64, bool) {
	d := 1 + perKelvin*(tCel-25)
	if !(d > 0.1) {
		return 0, false
	}
	return ec / d, true
}

// iso7888Cold are the factors of the standard's table at the first five tenths
// of each degree from 0 to 9 Cel, iso7888 those at the degrees from 10 to 35.
var iso7888Cold = [10][6]float64{
	{1.918, 1.912, 1.906, 1.899, 1.893, 1.887},
	{1.857, 1.851, 1.845, 1.840, 1.834, 1.829},
	{1.800, 1.794, 1.788, 1.783, 1.777, 1.772},
	{1.745, 1.740, 1.734, 1.729, 1.724, 1.719},
	{1.693, 1.688, 1.683, 1.678, 1.673, 1.668},
	{1.643, 1.638, 1.634, 1.629, 1.624, 1.619},
	{1.596, 1.591, 1.587, 1.582, 1.578, 1.573},
	{1.551, 1.547, 1.542, 1.538, 1.534, 1.529},
	{1.508, 1.504, 1.500, 1.496, 1.491, 1.487},
	{1.467, 1.463, 1.459, 1.455, 1.451, 1.447},
}

var iso7888 = [26]float64{
	1.428, 1.390, 1.354, 1.320, 1.287, 1.256, 1.225, 1.196, 1.168, 1.141, 1.116, 1.091, 1.067,
	1.044, 1.021, 1.000, 0.979, 0.959, 0.940, 0.921, 0.903, 0.886, 0.869, 0.853, 0.837, 0.822,
}

// ISO7888Factor returns what brings an EC measured at t to 25 Cel by the
// non-linear table of ISO 7888 (EN 27888), linear between its entries; false
// outside its 0 to 35 Cel. The standard is for natural water of about 0.06 to
// 1 mS/cm; feeds lie above, where 2 % per K is as good.
func ISO7888Factor(tCel float64) (float64, bool) {
	if !(tCel >= 0 && tCel <= 35) {
		return 0, false
	}
	whole := int(tCel)
	if whole >= 10 {
		i := min(whole, 34) - 10
		return iso7888[i] + (iso7888[i+1]-iso7888[i])*(tCel-float64(i+10)), true
	}
	row := &iso7888Cold[whole]
	tenths := (tCel - float64(whole)) * 10
	if tenths < 5 {
		i := int(tenths)
		return row[i] + (row[i+1]-row[i])*(tenths-float64(i)), true
	}
	next := iso7888[0]
	if whole < 9 {
		next = iso7888Cold[whole+1][0]
	}
	return row[5] + (next-row[5])*(tenths-5)/5, true
}

// SheetsHendrickxFactor brings a bulk EC of soil measured at t to 25 Cel.
//
//	f = 0.447 + 1.4034 exp(-T/26.815)
//
// Source: Sheets & Hendrickx (1995).
func SheetsHendrickxFactor(tCel float64) float64 { return 0.447 + 1.4034*math.Exp(-tCel/26.815) }

// Bulk is what a probe says of the substrate as a whole.
type Bulk struct {
	EC           float64 // mS/cm
	Permittivity float64
	WaterContent float64 // m3/m3
}

// HilhorstPoreEC returns the EC of the pore water, in the unit and at the
// temperature of the bulk EC.
//
//	ECp = ew ECb / (eb - e0)
//
// Source: Hilhorst (2000). Not known where eb - e0 is under 2.
func HilhorstPoreEC(b Bulk, waterPermittivity, offset float64) (float64, bool) {
	d := b.Permittivity - offset
	if !(d >= hilhorstLeast) {
		return 0, false
	}
	return waterPermittivity * b.EC / d, true
}

// RhoadesModel holds the constants of a medium.
type RhoadesModel struct {
	E, F      float64 // of water content squared, of water content
	SurfaceEC float64 // of the solids, unit of the EC
}

// BulkEC returns the bulk EC of a pore EC.
//
//	ECb = ECp (E theta^2 + F theta) + ECs
//
// Source: Rhoades, Raats & Prather (1976).
func (m RhoadesModel) BulkEC(poreEC, waterContent float64) float64 {
	return poreEC*(m.E*waterContent+m.F)*waterContent + m.SurfaceEC
}

// PoreEC returns the EC of the pore water. Not known where the bulk EC does not
// exceed that of the solids, or the medium transmits less than a hundredth.
func (m RhoadesModel) PoreEC(b Bulk) (float64, bool) {
	t := (m.E*b.WaterContent + m.F) * b.WaterContent
	if !(t >= 0.01) || !(b.EC > m.SurfaceEC) {
		return 0, false
	}
	return (b.EC - m.SurfaceEC) / t, true
}

// BulkECAt25 returns the bulk EC that a probe reported, mS/cm at 25 Cel; not
// known where it sent none, or sent it uncompensated without a temperature.
func (c *Calibration) BulkECAt25(v *Values) (float64, bool) {
	ec, ok := v.Get(BulkEC)
	if !ok || !c.ECAtProbe {
		return ec, ok
	}
	t, ok := v.Get(SubstrateTemperature)
	if !ok {
		return 0, false
	}
	if c.ECPerKelvin > 0 {
		return EC25Linear(ec, t, c.ECPerKelvin)
	}
	f, ok := ISO7888Factor(t)
	return ec * f, ok
}

// PoreECAt25 returns the EC of the pore water, mS/cm at 25 Cel: as the probe
// sent it, else by the calibration's model at the water content of the same
// reading. It is not known below 0.35 m3/m3 nor where the model stops being
// valid, and never guessed.
func (c *Calibration) PoreECAt25(v *Values, waterContent float64) (float64, bool) {
	if ec, ok := v.Get(PoreEC); ok {
		return ec, true
	}
	if c.PoreEC == "" || !(waterContent >= poreECLeastWaterContent) {
		return 0, false
	}
	bulk, ok := c.BulkECAt25(v)
	if !ok {
		return 0, false
	}
	b := Bulk{EC: bulk, WaterContent: waterContent}
	ec := 0.0
	if c.PoreEC == Rhoades {
		ec, ok = RhoadesModel{c.RhoadesE, c.RhoadesF, c.SurfaceEC}.PoreEC(b)
	} else {
		ec, ok = c.hilhorst(v, b)
	}
	return ec, ok && Signals[PoreEC].High >= ec && ec >= 0
}

func (c *Calibration) hilhorst(v *Values, b Bulk) (float64, bool) {
	e, ok := v.Get(Permittivity)
	if !ok {
		return 0, false
	}
	b.Permittivity = e
	t, ok := v.Get(SubstrateTemperature)
	if !ok {
		t = temperatureUnknown
	}
	offset := c.Offset
	if offset == 0 {
		offset = DefaultHilhorstOffset
	}
	return HilhorstPoreEC(b, WaterPermittivity(t), offset)
}

// SaltIndex returns a number that rises and falls with the EC of the pore water:
// bulk EC at 25 Cel less what the water content does to it.
//
//	index = ECb / theta^2
//
// It is no EC: its scale is that of the medium and of the probe's place in it, so it
// can only be held against earlier ones of the same probe, and there it is known
// where PoreECAt25 has no model. Source: Archie (1942), the formation factor left in.
// Between 0.2 and 0.8 m3/m3 it moves by a sixth where pore EC by Hilhorst
// (2000) stays, in a medium of refractive mixing (Birchak et al. 1974). Not known
// below 0.2 m3/m3.
func (c *Calibration) SaltIndex(v *Values, waterContent float64) (float64, bool) {
	bulk, ok := c.BulkECAt25(v)
	if !ok || !(waterContent >= saltIndexLeast) || !(bulk > 0) {
		return 0, false
	}
	return bulk / math.Pow(waterContent, archieExponent), true
}
