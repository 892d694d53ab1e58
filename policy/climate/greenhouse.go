package climate

import "math"

// Canopy is a crop in the transpiration form of Baille, Baille & Laury (1994).
// The form is given in many open places; the species' own coefficients of the
// paper were not to be had, so none stand here.
type Canopy struct {
	A             float64 // share of the intercepted radiation that evaporates water
	BWattsPerM2   float64 // per kPa of deficit and unit of leaf area
	Extinction    float64 // of light in the canopy, 0.64 is customary
	LeafAreaIndex float64 // m2 of leaves per m2 of ground
}

// LatentHeatFlux returns what transpiration takes, W/m2 of ground, under a
// radiation inside the house (W/m2) and a deficit (kPa).
//
//	LE = A (1 - exp(-k LAI)) G + B LAI D
func (c Canopy) LatentHeatFlux(radiation, deficitKPa float64) float64 {
	return c.A*(1-math.Exp(-c.Extinction*c.LeafAreaIndex))*radiation +
		c.BWattsPerM2*c.LeafAreaIndex*deficitKPa
}

// MillimetersPerHour returns the water that a latent heat flux in W/m2
// evaporates, mm/h.
func MillimetersPerHour(latentWattsPerM2 float64) float64 {
	return latentWattsPerM2 * 3600 / (LatentHeat * 1e6)
}

// LargestUptakePerJouleCM2 is the water, mL per m2 of ground, that 1 J/cm2
// evaporates when all of it does: 4.08. A learned slope above it is not
// transpiration alone (a leak, a wrong area) unless dry air brings heat in.
const LargestUptakePerJouleCM2 = 0.01 / LatentHeat * 1000

// Leaf is the state that the stomata of tomato answer to.
type Leaf struct {
	AbsorbedRadiation float64 // W/m2 of ground, shortwave
	LeafAreaIndex     float64
	TemperatureCel    float64
	CO2PPM            float64
	DeficitKPa        float64
	Night             bool
}

// StomatalResistance returns the internal resistance of a tomato canopy, s/m.
// It shows how far a deficit closes the stomata, the effect that a demand linear
// in the deficit leaves out.
//
//	r = 82 fI fT fC fD
//
// Source: Stanghellini (1987) pp. 37 and 87, as an open crop model carries it.
func (l Leaf) StomatalResistance() float64 {
	i := l.AbsorbedRadiation / (2 * l.LeafAreaIndex)
	fI := (i + 4.30) / (i + 0.54)
	dT := l.TemperatureCel + 273.15 - 297.66
	fT := 1 + 2.2593e-2*dT*dT
	fC := 1.0
	if !l.Night {
		c := l.CO2PPM - 200
		fC = math.Min(1+6.08e-7*c*c, 1.49)
	}
	fD := 4 / math.Pow(1+255*math.Exp(-0.5427*l.DeficitKPa*10), 0.25)
	return 82 * fI * fT * fC * fD
}
