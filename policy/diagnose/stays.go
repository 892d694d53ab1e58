package diagnose

import "math"

// A container with one probe that rises with no watering reported was watered by hand, or
// its probe was moved. Water above what the container keeps drains; what a probe that was
// moved shows stays.

const (
	// stepsMs is the longest in which a probe that is moved goes to its new level as looks
	// show it: two of them.
	stepsMs = 10 * 60 * 1000
	// drainedMs is how long after any water the container has drained to what it keeps.
	drainedMs = 2 * hourMs
	// staysOdds are the log odds of a sensor fault where a rise stays (common practice, no
	// source): the drain hole may have clogged at the same time.
	staysOdds = 3
	// doubtOdds are those of a watering by hand from then on.
	doubtOdds = -1.5
)

// stays judges, once, a rise that nobody reported, in a zone with one probe whose
// container was full from day to day.
func (f *Fast) stays(in *Inputs, atMs int64, base *Baselines, b *Belief) {
	u, rest := &f.Unreported, &base.Of[Rest]
	if !u.Quick || atMs-u.AtMs > dayMs || atMs-max(u.AtMs, in.Water.LastMs) < drainedMs || in.Water.ValveOpenMs != 0 {
		return
	}
	if rest.Days < leastDays || base.Full < usuallyFull || usableProbes(in) != 1 {
		return
	}
	u.Quick = false
	mean, spread := rest.expect(Rest, 0)
	if in.WaterContent-mean <= math.Max(leastStays, 3*spread) {
		return
	}
	u.StaysAt = float32(in.WaterContent)
	b.lower(UnreportedWatering, doubtOdds)
}

// leastStays is how far above what a container keeps at rest a rise must stay, m3/m3: the
// least step of a probe that is looked at (sensing.Step).
const leastStays = 0.03

// stuckUp tells a rise that stays, of two days at most.
func (u *Unreported) stuckUp(atMs int64) bool { return u.StaysAt > 0 && atMs-u.AtMs < steppedMs }

func usableProbes(in *Inputs) int {
	n := 0
	for i := range in.Probes[:in.ProbeCount] {
		if p := &in.Probes[i]; p.Heard && p.Health.Usable() {
			n++
		}
	}
	return n
}
