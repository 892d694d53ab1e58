package learning

import "math"

// Account sums what went in and out by the hour, mL per container.
type Account struct {
	HourMs     int64 // start of the newest hour
	Head       int32 // its place in the rings
	Irrigation [accountHours]float32
	Uptake     [accountHours]float32
	Drain      [accountHours]float32
	Reported   [accountHours]float32 // drain as reported
	DrainMs    int64                 // newest drain report, 0: none
	Totals     Totals
}

// accountHours is a day and the hour that is running.
const accountHours = 25

// Totals are sums since the zone was first seen; they never fall.
type Totals struct {
	IrrigationML, UptakeML, DrainML float64
}

// Sums are the water account of the last 24 h, mL per container.
type Sums struct {
	IrrigationML, UptakeML, DrainML float64
	DrainFraction                   float64 // 0 where nothing was given
	ReportedDrainML                 float64
	DrainReported                   bool // DrainML is the reported one
}

// roll moves the newest hour to the one that holds at.
func (a *Account) roll(at int64) {
	hour := at - mod(at, hourMs)
	for n := 0; a.HourMs < hour && n < accountHours; n++ {
		a.HourMs += hourMs
		a.Head = (a.Head + 1) % accountHours
		a.Irrigation[a.Head], a.Uptake[a.Head], a.Drain[a.Head], a.Reported[a.Head] = 0, 0, 0, 0
	}
	a.HourMs = max(a.HourMs, hour)
}

func (a *Account) book(at int64, given, uptake, drain float64) {
	a.roll(at)
	a.Irrigation[a.Head] += float32(given)
	a.Uptake[a.Head] += float32(uptake)
	a.Drain[a.Head] += float32(drain)
	a.Totals.IrrigationML += given
	a.Totals.UptakeML += uptake
	a.Totals.DrainML += drain
}

// Drain takes a report that volumeML drained up to atMs.
func (z *Zone) Drain(c *Constants, atMs int64, volumeML float64) {
	z.Advance(c, atMs)
	a := &z.Account
	a.roll(z.AtMs)
	a.DrainMs = z.AtMs
	if volumeML > 0 {
		a.Reported[a.Head] += float32(volumeML)
		z.caught(c)
	}
}

// How far off the balance's uptake and what is told of emitters are, as shares
// (common practice, no source), and beyond how many of both together a gauge is
// not believed.
const (
	uptakeOff = 0.15
	givenOff  = 0.06
	gaugeOff  = 2.5
)

// drained24h is the drain reported over the last 24 h, mL, and whether to
// believe it.
func (z *Zone) drained24h() (float64, bool) {
	s := z.Sums24h()
	return s.ReportedDrainML, s.DrainReported
}

// Sums24h returns the account of the last 24 h: 23 whole hours, the part of the
// running one, and of the oldest what the running one has still to go. The
// reported drain counts where the balance can be off it by as much; a blocked or
// missing tray reports next to nothing on a well-watered day, and then the
// balance counts.
func (z *Zone) Sums24h() Sums {
	a := &z.Account
	var s Sums
	oldest := (int(a.Head) + 1) % accountHours
	for i := range accountHours {
		share := 1.0
		if i == oldest {
			share = 1 - min(float64(z.AtMs-a.HourMs)/float64(hourMs), 1)
		}
		s.IrrigationML += share * float64(a.Irrigation[i])
		s.UptakeML += share * float64(a.Uptake[i])
		s.DrainML += share * float64(a.Drain[i])
		s.ReportedDrainML += share * float64(a.Reported[i])
	}
	s.IrrigationML += z.Open.GivenML
	s.UptakeML += z.Open.ModelML
	off := math.Hypot(uptakeOff*s.UptakeML, givenOff*s.IrrigationML)
	if a.DrainMs != 0 && z.AtMs-a.DrainMs < 2*dayMs && math.Abs(s.ReportedDrainML-s.DrainML) < gaugeOff*off {
		s.DrainML, s.DrainReported = s.ReportedDrainML, true
	}
	if s.IrrigationML > 0 {
		s.DrainFraction = min(s.DrainML/s.IrrigationML, 1)
	}
	return s
}
