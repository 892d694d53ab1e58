package diagnose

import (
	"math"
	"testing"
)

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

// full plays hours of a full container that does not fall, a shot before them, of which a gauge
// tells the drain mL within the hour.
func full(m *Memory, at int64, hours int, set func(in *Inputs)) (*Inputs, int64) {
	in := inputs()
	in.ProbeCount, in.Learned.Uptake5ML = 1, 10
	in.WaterContent, in.Water.LastMs = in.Learned.Capacity, at
	for look := range hours * 12 {
		at += 5 * 60_000
		in.ClimateMs = at
		set(in)
		in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent + 0.0003*float64(look%3), AtMs: at}
		m.Look(in, at)
	}
	return in, at
}

// What an open valve gives a full container drains: a gauge that works and tells of no drain
// acquits it. One that has been dry for weeks, or tells nothing, does not.
func TestAGaugeAcquitsAValve(t *testing.T) {
	for name, c := range map[string]struct {
		worked, heard bool
		drain         float64
		leads         bool
	}{
		"no drain":                           {true, true, 0, false},
		"drain goes on":                      {true, true, 200, true},
		"the gauge is silent":                {true, false, 0, true},
		"the gauge has not told of any ever": {false, true, 0, true},
	} {
		m, at := play(3, 10, 0, nil)
		if c.worked {
			m.Fast.Fall.GaugeMs = at - 2*dayMs
		}
		full(m, at, 14, func(in *Inputs) { in.Water.DrainHeard, in.Water.DrainHourML = c.heard, c.drain })
		cause, p, _, wrong := m.Leading()
		if (wrong && cause == ValveStuckOpen) != c.leads {
			t.Errorf("%s: %v leads with %.2f, wrong %v; log odds of the valve %.1f", name, cause, p, wrong, m.Belief.LogOdds[ValveStuckOpen])
		}
	}
}

// Hour by hour without drain beside a full container takes away what was said of its valve.
func TestHoursWithoutDrain(t *testing.T) {
	for _, level := range []float64{0.59, 0.5} {
		w, b, in, at := FallWatch{GaugeMs: start}, &Belief{}, inputs(), start+4*hourMs
		b.LogOdds[ValveStuckOpen], in.WaterContent, in.Water.DrainHeard = 6, level, true
		for range 3 {
			at += hourMs
			w.drains(in, at, b)
		}
		if got := b.LogOdds[ValveStuckOpen]; (got < 4) != (level > 0.55) {
			t.Errorf("at %.2f of 0.60: log odds of the valve 6 -> %.1f", level, got)
		}
	}
}

// By day a zone of which no climate is told falls by less on a dull day, which is weather
// first; by night, and where the climate tells what the day asks, it is not.
func TestADullDayIsWeatherFirst(t *testing.T) {
	for name, c := range map[string]struct{ told, night, weather bool }{"dull day, no climate": {false, false, true}, "climate told": {true, false, false}, "night": {false, true, false}} {
		m, at := play(3, 10, 0, nil)
		full(m, at, 7, func(in *Inputs) {
			in.Daytime = !c.night
			in.WaterContent -= 0.25 * in.Learned.Uptake5ML / in.VolumeML
			in.Learned.Capacity = in.WaterContent
			if !c.told {
				in.ClimateMs = 0
			}
		})
		p, _ := m.Belief.probabilities()
		if (p[WeatherOrGrowth] > 0.5) != c.weather || (m.Belief.LogOdds[ValveStuckOpen] < 1) || c.weather && p[ValveStuckOpen] > p[WeatherOrGrowth] {
			t.Errorf("%s: weather %.2f, the valve %.2f, its log odds %.1f", name, p[WeatherOrGrowth], p[ValveStuckOpen], m.Belief.LogOdds[ValveStuckOpen])
		}
	}
}

// A zone that lies below its refill point and does not fall is fed by no open valve: that
// would have filled it.
func TestAnEmptyPotAccusesNoOpenValve(t *testing.T) {
	for _, refill := range []float64{0, 0.5} {
		m, at := play(3, 10, 0, nil)
		full(m, at, 24, func(in *Inputs) { in.WaterContent, in.RefillPoint = 0.4, refill })
		if got := m.Belief.LogOdds[ValveStuckOpen]; (got > 0.5) != (refill == 0) {
			t.Errorf("refill point %.1f, at 0.40: log odds of an open valve %.2f", refill, got)
		}
	}
	for _, low := range []bool{false, true} {
		m, at := play(3, 10, 0, nil)
		at += dayMs
		f := Features{Hours: 24, UptakeML: 900, Low: low}
		f.set(UptakeDay, usual[UptakeDay]-1.8, 0.1)
		m.Belief.fade(at)
		m.Baselines.weigh(&f, &m.Belief, at)
		if got := m.Belief.LogOdds[ValveStuckOpen]; (got > 0.5) == low {
			t.Errorf("low %t: a day that drank a sixth takes the log odds of an open valve to %.2f", low, got)
		}
	}
}

// An open valve holds a container far above what it keeps, by the flow times the time in which
// it drains. What came unreported is no standing water; what reported water lifts is.
func TestAnOpenValveIsNoStandingWater(t *testing.T) {
	for _, lifted := range []bool{false, true} {
		m, at := play(3, 10, 0, nil)
		m.Baselines.Of[Peak].Mean = 0.6
		if lifted {
			m.Fast.Lifted = Lifted{Base: 0.58, Up: 0.09, AtMs: at}
		}
		_, at = full(m, at, 10, func(in *Inputs) { in.WaterContent = 0.67 })
		f := Features{Hours: 24, UptakeML: 900, Holds: 0.6, Lifted: float64(m.Fast.Lifted.Up), StandsWet: true}
		f.set(Peak, 0.67, 0.002)
		f.set(Rest, 0.67, 0.002)
		m.Baselines.weigh(&f, &m.Belief, at)
		stands, valve := m.Belief.LogOdds[Oversaturation], m.Belief.LogOdds[ValveStuckOpen]
		if (valve > stands) != lifted {
			t.Errorf("lifted %t: log odds of standing water %.1f, of the valve %.1f", lifted, stands, valve)
		}
	}
	// neither the level nor its hours, of days, are claimed as far as unreported water makes them
	for _, lifted := range []float64{0, 0.09} {
		m, at := play(3, 10, 0, nil)
		for range 2 {
			at += dayMs
			f := Features{Hours: 24, UptakeML: 900, Holds: 0.6, StandsWet: true, Lifted: lifted}
			f.set(Peak, float64(m.Baselines.Of[Peak].Mean)+0.09, 0.002)
			f.set(Rest, float64(m.Baselines.Of[Rest].Mean)+0.09, 0.002)
			f.set(WetHours, 24, 0.2)
			m.Baselines.weigh(&f, &m.Belief, at)
		}
		if got := m.Belief.LogOdds[Oversaturation]; (got > 2) != (lifted == 0) {
			t.Errorf("two days 0.09 above what is usual, %.2f of it unreported: log odds of standing water %.1f", lifted, got)
		}
	}
	l := Lifted{}
	l.rose(0.58, 0.09, start)
	for _, c := range []struct{ level, up float64 }{{0.7, 0.09}, {0.63, 0.05}, {0.66, 0.05}, {0.585, 0}, {0.7, 0}} {
		if l.look(c.level, start); math.Abs(float64(l.Up)-c.up) > 1e-6 {
			t.Errorf("at %.3f it stands %.3f higher than reported water explains; expected %.3f", c.level, l.Up, c.up)
		}
	}
	// Water of days ago is drunk, and what is reported keeps the level; other roots have none.
	old := Lifted{}
	old.rose(0.30, 0.15, start)
	if old.look(0.55, start+2*dayMs); old.Up == 0 {
		t.Error("two days after, nothing is left of water that came unreported and never went")
	}
	if old.look(0.55, start+4*dayMs); old.Up != 0 {
		t.Errorf("four days after the last of it, the level is still put %.3f down to unreported water", old.Up)
	}
	m := &Memory{Fast: Fast{Lifted: Lifted{Base: 0.3, Up: 0.15, AtMs: start}}}
	if m.Disturbed(start, start); m.Fast.Lifted.Up != 0 {
		t.Error("the water of another container is still counted")
	}
}

// A zone that has lain well below what it holds for a whole day has air: what was said of
// standing water goes. A part of each day below does not end it.
func TestStandingWaterThatHasGone(t *testing.T) {
	for _, hours := range []int{12, 30} {
		m, at := play(3, 10, 0, nil)
		m.Belief.LogOdds[Oversaturation] = 8
		level := 0.5
		full(m, at, hours, func(in *Inputs) {
			in.WaterContent = level
			level -= in.Learned.Uptake5ML / in.VolumeML
		})
		before := 8 * math.Exp(-float64(hours)/24/priors[Oversaturation].forgetD)
		if got := float64(m.Belief.LogOdds[Oversaturation]); (got < before-1.5) != (hours > 24) {
			t.Errorf("%d h from 0.50 of 0.60 down: log odds of standing water %.1f -> %.1f", hours, before, got)
		}
	}
}
