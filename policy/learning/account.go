package learning

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
	}
}

// Sums24h returns the account of the last 24 h: 24 whole hours and the part
// of the running one. The reported drain counts where it is between a third
// and three times what the balance leaves over; a blocked or missing tray
// reports next to nothing on a well-watered day, and then the balance counts.
func (z *Zone) Sums24h() Sums {
	a := &z.Account
	var s Sums
	for i := range accountHours {
		s.IrrigationML += float64(a.Irrigation[i])
		s.UptakeML += float64(a.Uptake[i])
		s.DrainML += float64(a.Drain[i])
		s.ReportedDrainML += float64(a.Reported[i])
	}
	s.IrrigationML += z.Open.GivenML
	s.UptakeML += z.Open.ModelML
	if a.DrainMs != 0 && z.AtMs-a.DrainMs < dayMs && s.ReportedDrainML > s.DrainML/3 && s.ReportedDrainML < 3*s.DrainML {
		s.DrainML, s.DrainReported = s.ReportedDrainML, true
	}
	if s.IrrigationML > 0 {
		s.DrainFraction = min(s.DrainML/s.IrrigationML, 1)
	}
	return s
}
