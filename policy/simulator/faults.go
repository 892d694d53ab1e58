package simulator

import "time"

// FaultKind is what goes wrong, or only changes.
type FaultKind uint8

// The faults, by the causes a grower would name.
const (
	EmitterBlocked     FaultKind = iota + 1 // of Container, or all: Severity is the share of flow lost
	ValveStuckOpen                          // leaks Severity of the flow for ever
	ValveStuckClosed                        // commanded shots do not come
	Compaction                              // pores crushed: porosity, air and conductivity down
	RootBound                               // roots fill the pores, water runs along the wall
	Oversaturation                          // the drain hole is clogged: water stands up to Severity of 60 % of the fill
	EdgeChannelling                         // Severity of every shot runs down a gap
	SensorStuck                             // of Probe
	SensorDrift                             // 0.2 m3/m3 times Severity, over Onset
	SensorJump                              // wild readings, Severity of the time
	SensorOffset                            // a step of 0.2 m3/m3 times Severity (the probe was moved)
	SensorDropout                           // silent
	SensorClockWrong                        // stamps off by Severity hours
	RootZoneHeat                            // the pot in the sun: up to 6 K and 0.02 K per W/m2 on top
	SaltBuildUp                             // the feed's EC rises by Severity of itself
	UnreportedWatering                      // by hand at From, VolumeML per container
	HotSpell                                // weather: up to 7 K warmer and dry
	ShootsPruned                            // Severity of the leaves go at From
	FastGrowth                              // growth up to four times as fast
)

// Fault is a fault with its time.
type Fault struct {
	Kind     FaultKind
	Zone     int       // index of the zone; HotSpell meets all
	From     time.Time // when it starts
	Until    time.Time // when it ends; zero: it stays
	Onset    time.Duration
	Severity float64 // 0 to 1; below 0 a sensor reads less
	// Container is the one that is hit, or -1 for all; Probe likewise the
	// index of the probe.
	Container, Probe int
	VolumeML         float64 // of UnreportedWatering, per container
	done             bool
}

// strength is how far a fault has come, 0 to its severity.
func (f *Fault) strength(t int64) float64 {
	from := f.From.Unix()
	if t < from || !f.Until.IsZero() && t >= f.Until.Unix() {
		return 0
	}
	if f.Onset <= 0 {
		return f.Severity
	}
	return f.Severity * min(float64(t-from)/f.Onset.Seconds(), 1)
}

// effects is what the faults do to one container now, each 0 to 1.
type effects struct {
	compact, bound, outlet, channel, heat, salt, growth float64
	blocked, leak, shut                                 float64
}

// effectsOn gathers what hits a container.
func effectsOn(faults []Fault, zone, container int, t int64) (e effects) {
	for i := range faults {
		f := &faults[i]
		if f.Zone != zone || f.Container >= 0 && f.Container != container {
			continue
		}
		x := f.strength(t)
		if x == 0 {
			continue
		}
		switch f.Kind {
		case EmitterBlocked:
			e.blocked = max(e.blocked, x)
		case ValveStuckOpen:
			e.leak = max(e.leak, x)
		case ValveStuckClosed:
			e.shut = max(e.shut, x)
		case Compaction:
			e.compact = max(e.compact, x)
		case RootBound:
			e.bound = max(e.bound, x)
			e.channel = max(e.channel, 0.35*x)
		case Oversaturation:
			e.outlet = max(e.outlet, x)
		case EdgeChannelling:
			e.channel = max(e.channel, x)
		case RootZoneHeat:
			e.heat = max(e.heat, x)
		case SaltBuildUp:
			e.salt = max(e.salt, x)
		case FastGrowth:
			e.growth = max(e.growth, x)
		}
	}
	return e
}

// changed gives the substrate under the effects and the roots in it. Crushed
// pores hold less, drain at higher suctions (alpha as the porosity's air part
// shrinks) and conduct a tenth; roots take room from water and air alike
// (common practice, no source for the sizes).
func (s Substrate) changed(roots float64, e *effects) Substrate {
	out := s
	taken := roots + 0.14*e.bound
	out.ThetaS = s.ThetaS - taken - 0.10*e.compact
	out.TotalPorosity = s.TotalPorosity - taken - 0.14*e.compact
	out.ThetaS = min(out.ThetaS, out.TotalPorosity)
	out.AlphaPerCM = s.AlphaPerCM * (1 - 0.6*e.compact) * (1 + 0.6*e.bound)
	out.KsCMPerH = s.KsCMPerH * (1 - 0.93*e.compact) * (1 - 0.7*e.bound)
	return out
}

// harden makes the container what the effects and its roots have made of it.
// The curve is only tabulated anew when that has changed enough to matter.
func (p *pot) harden(c *Crop, e *effects) {
	now := *e
	now.blocked, now.leak, now.shut, now.heat, now.salt, now.growth = 0, 0, 0, 0, 0, 0
	roots := c.RootShare + (c.RootShareFull-c.RootShare)*p.rooted
	p.outlet = 0.6 * p.g.edge[layers] * e.outlet
	if p.c != nil && abs(now.compact-p.made.compact) < 0.01 && abs(now.bound-p.made.bound) < 0.01 && abs(roots-p.madeRoots) < 0.001 {
		return
	}
	p.made, p.madeRoots = now, roots
	p.c = newCurve(p.base.changed(roots, &now))
	p.porous = p.c.TotalPorosity
	p.root(c, p.g)
}

func abs(x float64) float64 { return max(x, -x) }
