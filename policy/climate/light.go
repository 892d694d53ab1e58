package climate

import "sort"

// Light per energy. A lamp's photons per joule are those of its light between
// 400 and 700 nm (PAR watts), not of the power it draws.

const (
	// PhotonsPerGlobalJoule is the PPFD that comes with 1 W/m2 of global
	// (300 to 3000 nm) sunlight, umol/J. Source: Britton & Dodd (1976), as public
	// lake models carry it.
	PhotonsPerGlobalJoule = 2.114
	// PhotonsPerPARJoule is that of 1 W/m2 of sunlight between 400 and 700 nm,
	// umol/J. Source: McCree (1972).
	PhotonsPerPARJoule = 4.57
	planckAvogadroC    = 6.62607015e-34 * 299792458 * 6.02214076e23 // J m/mol, CODATA exact
)

// Lamp is a kind of light.
type Lamp struct {
	Name        string
	MicromolPAR float64 // umol per joule of light between 400 and 700 nm; 0: not known
	LuxPerPPFD  float64 // lx per umol/m2/s; 0: not known
}

// Lamps lists the kinds by name. Photons per joule: Thimijan & Heins (1983)
// Table 3, from memory, the sun's verified; lux: a sensor maker's open table.
// A lamp of light-emitting diodes has no one number: its maker gives PPFD.
var Lamps = []Lamp{
	{"blue sky", 4.24, 0},
	{"ceramic metal halide 3100 K", 0, 59},
	{"ceramic metal halide 4200 K", 0, 65},
	{"cool white fluorescent", 4.59, 74},
	{"high pressure sodium", 4.98, 82},
	{"high pressure sodium, double ended", 4.98, 77},
	{"incandescent", 5.00, 0},
	{"low pressure sodium", 4.92, 0},
	{"metal halide", 4.59, 71},
	{"sun", PhotonsPerPARJoule, 54},
	{"warm white fluorescent", 4.67, 0},
}

// LampByName finds a kind of light.
func LampByName(name string) (Lamp, bool) {
	i := sort.Search(len(Lamps), func(i int) bool { return Lamps[i].Name >= name })
	if i < len(Lamps) && Lamps[i].Name == name {
		return Lamps[i], true
	}
	return Lamp{}, false
}

// PPFD returns umol/m2/s of a light of so many W/m2 between 400 and 700 nm;
// false where the lamp's photons per joule are not known.
func (l Lamp) PPFD(parWattsPerM2 float64) (float64, bool) {
	return parWattsPerM2 * l.MicromolPAR, l.MicromolPAR > 0
}

// PARWatts returns W/m2 between 400 and 700 nm of a PPFD; false where the lamp's
// photons per joule are not known.
func (l Lamp) PARWatts(ppfd float64) (float64, bool) {
	if l.MicromolPAR <= 0 {
		return 0, false
	}
	return ppfd / l.MicromolPAR, true
}

// PPFDFromLux returns umol/m2/s; false where the lamp's lux are not known. Lux
// weighs light by the eye, so this holds for the lamp's spectrum alone.
func (l Lamp) PPFDFromLux(lux float64) (float64, bool) {
	if l.LuxPerPPFD <= 0 {
		return 0, false
	}
	return lux / l.LuxPerPPFD, true
}

// PhotonsPerJoule returns umol/J of light of one wavelength in nm.
//
//	lambda / (h c NA)
func PhotonsPerJoule(wavelengthNM float64) float64 {
	return wavelengthNM * 1e-9 / planckAvogadroC * 1e6
}

// PPFDFromGlobal returns the PPFD, umol/m2/s, of global sunlight in W/m2.
func PPFDFromGlobal(wattsPerM2 float64) float64 { return wattsPerM2 * PhotonsPerGlobalJoule }

// GlobalFromPPFD returns the global sunlight, W/m2, that carries a PPFD.
func GlobalFromPPFD(ppfd float64) float64 { return ppfd / PhotonsPerGlobalJoule }

// DailyLightIntegral returns mol/m2 of a PPFD (umol/m2/s) held for some hours.
func DailyLightIntegral(ppfd, hours float64) float64 { return ppfd * 3600 * hours / 1e6 }

// LightIntegralFromGlobal returns mol/m2 of a sum of global sunlight in MJ/m2.
func LightIntegralFromGlobal(megajoules float64) float64 { return megajoules * PhotonsPerGlobalJoule }

// JoulesPerCM2 returns the radiation sum in J/cm2, the trade's unit, of a
// radiation in W/m2 held for some seconds: 1 J/cm2 is 10 kJ/m2.
func JoulesPerCM2(wattsPerM2, seconds float64) float64 { return wattsPerM2 * seconds / 1e4 }

// MegajoulesFromJoulesPerCM2 returns MJ/m2 of a radiation sum in J/cm2.
func MegajoulesFromJoulesPerCM2(sum float64) float64 { return sum / 100 }
