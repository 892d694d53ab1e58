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
	WorksMs    int64                 // when the gauge last agreed on a day that drained, 0: never
	CaughtML   float32               // drain reported since the zone was first seen
	GivenML    float64               // reported of waterings since the zone was first seen
	MissedML   float64               // of Totals.IrrigationML, given while nothing told of it
	VolumeML   float32               // of the container when it came
	Totals     Totals
}

// accountHours is a day and the hour that is running.
const accountHours = 25

// Totals are sums since the zone was first seen. They grow; only where a person tells
// that a watering was less than its rise said, irrigation falls by the difference.
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

// give books water as it is told of: a stretch may stay open for days.
func (a *Account) give(at int64, ml float64) {
	a.roll(at)
	a.Irrigation[a.Head] += float32(ml)
	a.Totals.IrrigationML += ml
}

func (a *Account) book(at int64, uptake, drain float64) {
	a.roll(at)
	a.Uptake[a.Head] += float32(uptake)
	a.Drain[a.Head] += float32(drain)
	a.Totals.UptakeML += uptake
	a.Totals.DrainML += drain
}

// Drain takes a report that volumeML drained up to atMs.
func (z *Zone) Drain(c *Constants, atMs int64, volumeML float64) {
	z.Advance(c, atMs)
	a := &z.Account
	a.roll(z.AtMs)
	a.DrainMs, a.VolumeML = z.AtMs, float32(c.VolumeML)
	if volumeML > 0 {
		a.Reported[a.Head] += float32(volumeML)
		a.CaughtML += float32(volumeML)
		z.caught(c)
	}
}

// How far off the balance's uptake, what is told of emitters and a drain gauge
// are, as shares, how far off the change of what is stored is over a day, m3/m3
// (common practice, no source), and beyond how many of all together a gauge is
// not believed.
const (
	uptakeOff = 0.15
	givenOff  = 0.06
	caughtOff = 0.05
	storedOff = 0.005
	gaugeOff  = 2.5
)

// drained24h is the drain reported over the last 24 h, mL, and whether to
// believe it.
func (z *Zone) drained24h() (float64, bool) {
	s := z.booked24h()
	return s.ReportedDrainML, s.DrainReported
}

// Sums24h returns the account of the last 24 h. Where drain is reported, what was
// given and neither drained nor is stored was drunk, whatever a probe at one place
// makes of the fall: uptake is the mean of the two by their variance. Where only
// drain is reported, the three say what was given.
func (z *Zone) Sums24h() Sums {
	s := z.booked24h()
	stored, off, ok := z.stored24h()
	if ok && s.DrainReported {
		if z.Reports() {
			balance := math.Max(s.IrrigationML-s.DrainML-stored, 0)
			r := sq(givenOff*s.IrrigationML) + sq(caughtOff*s.DrainML) + sq(off)
			p := sq(uptakeOff * s.UptakeML)
			if p+r > 0 {
				s.UptakeML += p / (p + r) * (balance - s.UptakeML)
			}
		} else {
			s.IrrigationML = math.Max(s.IrrigationML, s.UptakeML+s.DrainML+stored)
		}
	}
	if s.IrrigationML > 0 {
		s.DrainFraction = min(s.DrainML/s.IrrigationML, 1)
	}
	return s
}

// stored24h is how much more water is in the container than 24 h ago, and that
// on its way into it, mL, and how far off that is; false where the water content
// was not known then.
func (z *Zone) stored24h() (ml, off float64, ok bool) {
	then, ok := z.History.LevelAt(z.AtMs - dayMs)
	a, s := &z.Account, &z.Shots
	if !ok || z.SeenMs == 0 || z.AtMs-z.SeenMs > 30*minuteMs || !(a.VolumeML > 0) || !(z.Gain.Mean > 0) {
		return 0, 0, false
	}
	volume := float64(a.VolumeML) / z.Gain.Mean
	off = storedOff * volume
	if s.StartMs != 0 { // a watering is on its way past the probes
		off = math.Hypot(off, 0.5*s.GivenML)
	}
	return volume*(z.Level-then) + s.ComingML, off, true
}

// booked24h is the account of the last 24 h as it was booked, with the reported
// drain where that is believed.
func (z *Zone) booked24h() Sums {
	s := z.summed24h()
	if z.gaugeBelieved(&s) {
		s.DrainML, s.DrainReported = s.ReportedDrainML, true
	}
	return s
}

// summed24h sums 23 whole hours, the part of the running one, and of the oldest what
// the running one has still to go.
func (z *Zone) summed24h() Sums {
	a := &z.Account
	a.roll(z.AtMs)
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
	// A stretch stays open for as long as the probes are silent.
	open := math.Min(1, float64(dayMs)/math.Max(1, float64(z.AtMs-z.Open.FromMs)))
	s.UptakeML += open * z.Open.ModelML
	return s
}
