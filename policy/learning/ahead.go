package learning

import "math"

// RatesAhead are ln of the uptake per unit of demand expected over the next 24 h, by day and by
// night, mL/s per unit of demand: as UptakeSteps has them, which lets the lift fade.
func (z *Zone) RatesAhead() (day, night float64) {
	const span = 86400 / liftS
	lift := z.Rates.Lift * -math.Expm1(-span) / span
	return z.Rates.Day.Mean + lift, z.Rates.Night.Mean + lift
}
