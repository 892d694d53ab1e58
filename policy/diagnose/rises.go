package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// RiseWatch adds up by how much each probe has risen beyond the water that was
// reported. A container that gets no water only falls, whatever its crop drinks, so
// that no uptake enters, and what is judged is what the probes themselves say, not
// the zone's water content, which moves also when a probe falls out of it. Water that
// comes in slowly, or onto coarse probes, is seen in the sum and not in one look.
type RiseWatch struct {
	Up     [sensing.MaxProbes]float32 // of each probe, below 0: reported water that may still show, m3/m3
	Peak   float32                    // highest of all together, m3/m3
	FromMs int64                      // when it began
	Level  float32                    // water content then, m3/m3
	TopMs  int64                      // when it was reached
	Var    float32                    // of the probes' mean change from look to look while no water moves
}

const (
	// showsTimes is how much more than its share of the container a probe may show of a
	// shot at first: water stands round the emitter before it spreads.
	showsTimes = 2
	// comesS is the e-folding time in which reported water shows (fact 10 of the
	// reference: the fast part of drainage takes 10 to 15 minutes), and fadesS that in
	// which a rise is forgotten, so that noise does not add up, s.
	comesS, fadesS = 900, 3600
	// reportedMs after its top a rise is judged: volumes are reported when the valve
	// closes, a quarter of an hour after it opened at the most.
	reportedMs = 20 * 60 * 1000
	// mostHand is the most that is given by hand at once, m3/m3 of the container, any
	// rise up to there being as likely (common practice, no source).
	mostHand = 0.1
	// byHandMs is the time in which water given by hand has come in: what goes on
	// rising for longer is fed.
	byHandMs = 75 * 60 * 1000
	// calmWeight is that of a look in the variance of the calm: half a day of them.
	calmWeight = 0.007
)

// look takes the levels of the newest look.
func (w *RiseWatch) look(f *Fast, in *Inputs, atMs int64, b *Belief) {
	r := &f.Recently
	if r.Zone[1] < 0 || !in.Water.Reports {
		*w = RiseWatch{Var: w.Var}
		return
	}
	seconds := float64(atMs-r.BeforeMs) / 1000
	came := showsTimes * math.Max(0, float64(r.Total[0]-r.Total[1])) / in.VolumeML
	up, sd, n := w.rise(r, in, came, seconds, atMs-in.Water.LastMs > restMs)
	if n == 0 {
		w.Peak = 0
		return
	}
	w.Peak = max(0, w.Peak-float32(came))
	switch {
	case up > float64(w.Peak) && up > 2*sd:
		if w.Peak == 0 {
			w.FromMs, w.Level = r.BeforeMs, r.Zone[1]
		}
		w.Peak, w.TopMs = float32(up), atMs
	case w.Peak > 0 && atMs-w.TopMs >= reportedMs:
		f.rose(w, sd, b)
		*w = RiseWatch{Var: w.Var}
	}
}

// rise adds a look up and gives by how much the probes that are well have risen in
// the mean, but no more than half as much again as the middle one, so that no single
// probe makes a rise; the standard deviation that noise and coarseness give it, and
// how many they are.
func (w *RiseWatch) rise(r *Recently, in *Inputs, came, seconds float64, rests bool) (up, sd float64, n int) {
	var ups [sensing.MaxProbes]float64
	sum, change, steps := 0.0, 0.0, 0.0
	for i := range in.Probes[:in.ProbeCount] {
		now, before := r.Level[0][i], r.Level[1][i]
		x := float64(w.Up[i])
		if x > 0 {
			x *= math.Exp(-seconds / fadesS)
		} else {
			x *= math.Exp(-seconds / comesS)
		}
		if !in.Probes[i].Health.Usable() || now < 0 || before < 0 || r.Still.At(i).frozen() {
			w.Up[i] = float32(math.Min(x, 0) - came)
			continue
		}
		x = math.Max(x+float64(now-before), math.Min(x, 0)) - came
		w.Up[i] = float32(x)
		k := n
		for ; k > 0 && ups[k-1] > x; k-- {
			ups[k] = ups[k-1]
		}
		ups[k] = x
		n++
		sum += x
		change += float64(now - before)
		steps += float64(r.Still.At(i).Step * r.Still.At(i).Step)
	}
	if n == 0 {
		return 0, 0, 0
	}
	least := 2 * math.Max(in.Learned.Noise*in.Learned.Noise, 1e-6)
	if rests {
		v := math.Max(float64(w.Var), least)
		w.Var = float32(v + calmWeight*(math.Min(change*change/float64(n*n), 9*v)-v))
	}
	sd = math.Sqrt(math.Max(float64(w.Var), least) + steps/float64(6*n*n))
	return math.Min(sum/float64(n), 1.5*ups[(n-1)/2]), sd, n
}

// rose weighs a rise that nobody reported: any up to mostHand where somebody watered,
// noise with wide tails where nobody did.
func (f *Fast) rose(w *RiseWatch, sd float64, b *Belief) {
	peak := float64(w.Peak)
	ratio := math.Log(sd/(0.375*mostHand)) - logT(peak/sd) // 0.375: of t's density at its up
	if ratio < leastRatio {
		return
	}
	f.Lifted.rose(w.Level, w.Peak, w.TopMs)
	if w.TopMs-w.FromMs > byHandMs {
		b.add(ValveStuckOpen, math.Min(ratio, 2))
		return
	}
	f.Unreported = Unreported{AtMs: w.FromMs, Rise: w.Peak, Quick: w.TopMs-w.FromMs <= stepsMs}
	b.add(UnreportedWatering, math.Min(ratio, mostRise))
	b.add(ValveStuckOpen, 1)
}

const (
	// mostRise bounds what one rise says.
	mostRise = 6.5
	// leastRatio is the log likelihood ratio from which a rise counts, about six
	// standard deviations: the highest of a day's noise comes to four or five, and would
	// add up to a watering within days.
	leastRatio = 3.5
)
