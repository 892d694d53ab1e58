package diagnose

import "testing"

// between plays a day of shots every hour and a half in a container that is full: what
// a shot brings has drained half an hour later, and then the zone falls as the crop
// drinks, or does not. early is how many looks before its report a shot shows.
func between(m *Memory, in *Inputs, at int64, falls bool, early int) int64 {
	const every = 18
	level := in.WaterContent
	in.ProbeCount, in.Learned.Uptake5ML = 1, 10
	for look := range 288 {
		at += 5 * 60_000
		since := look % every
		switch {
		case since == 6 && look > every:
			in.Water.ReportedML, in.Water.TotalML = in.Water.ReportedML+180, in.Water.TotalML+180
			in.Water.LastMs, in.Water.LastShotMs = at, at
			level = in.Learned.Capacity
		case falls:
			level -= 10 / in.VolumeML
		}
		in.WaterContent = level
		if since >= 6-early && since < 12-early && look > every {
			in.WaterContent = in.Learned.Capacity + 0.02 // on its way down
		}
		in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent + 0.0003*float64(look%3), AtMs: at}
		m.Look(in, at)
	}
	return at
}

// The falls between shots are short, and it takes several of them to tell that a valve
// leaks; a day of them is enough. Shots that show a quarter of an hour before they are
// reported are no leak.
func TestALeakIsToldBetweenShots(t *testing.T) {
	for _, c := range []struct {
		name  string
		falls bool
		early int
		leads bool
	}{{"falls", true, 0, false}, {"falls, and water shows before it is reported", true, 3, false}, {"does not fall", false, 0, true}} {
		m, at := play(3, 10, 0, nil)
		in := inputs()
		in.WaterContent, in.Water.LastMs = in.Learned.Capacity, at
		between(m, in, at, c.falls, c.early)
		cause, p, _, wrong := m.Leading()
		if c.leads != (wrong && cause == ValveStuckOpen) {
			t.Errorf("%s: %v leads with %.2f, wrong %v; log odds of a leak %.1f", c.name, cause, p, wrong, m.Belief.LogOdds[ValveStuckOpen])
		}
	}
}

// A night in which the zone does not fall at all is told by the fall that was expected,
// however large its noise is beside what it fell.
func TestANightWithoutAFall(t *testing.T) {
	m, at := play(3, 10, 0, nil)
	for range 2 {
		at += dayMs
		f := Features{Hours: 24, UptakeML: 900, Enough: true}
		f.set(UptakeNight, usual[UptakeNight]-2, 1.5)
		m.Belief.fade(at)
		m.Baselines.weigh(&f, &m.Belief, at)
	}
	if got := m.Belief.LogOdds[ValveStuckOpen]; got < 1 {
		t.Errorf("two nights fell by a seventh of what was expected: log odds of a leak %.2f; expected at least 1", got)
	}
	f := Features{}
	f.set(UptakeNight, 2, 0.5)
	if got := f.sdFrom(UptakeNight, 1); got != 0.5 {
		t.Errorf("a fall above the expected one has standard deviation %g; expected its own, 0.5", got)
	}
}

// A valve that failed in the evening does not show in the mean of the day that ends in
// the night: such a day acquits it of little.
func TestADayThatWasMostlyBefore(t *testing.T) {
	m, at := play(3, 10, 0, nil)
	at += dayMs
	m.Belief.fade(at)
	m.Belief.LogOdds[ValveStuckOpen], m.Belief.LogOdds[EmitterFault] = 3, 3
	f := Features{Hours: 24, UptakeML: 900, Enough: true}
	for _, k := range []Feature{UptakeDay, UptakeNight, Rise, Peak, WetHours} {
		f.set(k, usual[k], 0.25*floors[k])
	}
	m.Baselines.weigh(&f, &m.Belief, at)
	leak, emitter := m.Belief.LogOdds[ValveStuckOpen], m.Belief.LogOdds[EmitterFault]
	if leak < 2 || leak >= 3 {
		t.Errorf("an ordinary day: log odds of a leak 3 -> %.2f; expected 2 to 3", leak)
	}
	if emitter >= leak {
		t.Errorf("an ordinary day: log odds of an emitter 3 -> %.2f, of a leak %.2f; expected it to say more of the emitter", emitter, leak)
	}
}

// A crop of seedlings drinks less than the climate asks, day after day: that its zone
// hardly falls is usual here and no leak. What is usual is known of a dozen judgements
// and more, so that a leak of a day does not become so.
func TestAZoneThatHardlyEverFalls(t *testing.T) {
	m, at := play(3, 10, 0, nil)
	in := inputs()
	in.Learned.Uptake5ML, in.ProbeCount = 4, 1
	level := in.Learned.Capacity
	for look := range 8 * 288 {
		at += 5 * 60_000
		in.Daytime = true
		level -= 0.35 * in.Learned.Uptake5ML / in.VolumeML
		if look%288 == 0 {
			in.Water.ReportedML, in.Water.TotalML = in.Water.ReportedML+400, in.Water.TotalML+400
			in.Water.LastMs, in.Water.LastShotMs = at, at
			level = in.Learned.Capacity
		}
		in.WaterContent = level
		in.Probes[0] = Probe{Heard: true, Mean: level + 0.0003*float64(look%3), AtMs: at}
		m.Look(in, at)
		if c, p, _, wrong := m.Leading(); wrong && c == ValveStuckOpen {
			t.Fatalf("hour %d: %v with %.2f", look/12, c, p)
		}
	}
	if got := m.Fast.Fall.Usual.mean(); got < 0.3 || got > 0.5 {
		t.Errorf("usually falls by %.2f of what is expected; it falls by 0.35", got)
	}
}
