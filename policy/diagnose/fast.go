package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// Fast is evidence of faults that must be told within a day: what comes of each
// shot, whether the zone falls while nobody waters it, and the probes.
type Fast struct {
	VolumeML, Capacity, Noise float32
	Reports                   bool
	Shots                     ShotTest
	Recently                  Recently
	Fall                      FallWatch
	Kept                      KeptWatch
	Awaited                   AwaitedWatch
	Unreported                Unreported
	Rises                     RiseWatch
	Probes                    [sensing.MaxProbes]ProbeWatch
	Round                     Round
	WorstProbe                uint8 // 1 + the probe that a sensor or emitter fault is seen at, 0: none
	WorstHealth               uint8
}

// FallWatch follows the zone between its waterings: without more water it must fall as
// the crop drinks. The falls of several stretches are added up until there is enough
// to judge. It judges a quarter of an hour late: water shows before it is reported.
type FallWatch struct {
	FromMs     int64 // of the stretch, 0: not watching
	WaterMs    int64 // reported watering that it follows
	Level      float64
	Last       float64 // water content a quarter of an hour ago
	Cel        float64 // substrate temperature at FromMs, or the air's where it is not told
	ExpectedML float64
	Past       Fallen
	Warming    Warming
	DrainMs    int64   // when the drain was last looked at
	SawMs      int64   // newest fall that was judged
	Expected   float32 // of that, m3/m3
	Fell       float32
}

// Fallen is what stretches that are over came to.
type Fallen struct {
	FromMs     int64 // of the first, 0: there are none
	ExpectedML float32
	Fell       float32 // m3/m3
	Warmed     float32 // K
	Stretches  uint8
}

// Unreported is the newest watering that nobody reported.
type Unreported struct {
	AtMs int64
	Rise float32 // m3/m3
}

// look takes the zone as it is.
func (f *Fast) look(in *Inputs, atMs int64, base *Baselines, b *Belief) {
	f.VolumeML, f.Capacity, f.Noise = float32(in.VolumeML), float32(in.Learned.Capacity), float32(in.Learned.Noise)
	f.Reports = in.Water.Reports
	f.still(in, base)
	if in.Current {
		f.shots(in, atMs, base, b)
		f.Rises.look(f, in, atMs, b)
		f.Fall.look(in, &f.Recently, atMs, base, b)
		f.Awaited.look(in, atMs, base, b)
		if base.Of[Peak].Days >= 2 { // the first days, a zone is only settling
			f.Kept.look(in, atMs, base, b, f.Shots.dry(in, f.Kept.Level))
		}
	}
	f.probes(in, atMs, base.Of[Peak].Days >= 3, b)
}

// look judges whether the zone falls while nobody waters it.
func (w *FallWatch) look(in *Inputs, r *Recently, atMs int64, base *Baselines, b *Belief) {
	if !in.Water.Reports || in.Water.ValveOpenMs != 0 || in.Water.LastMs > w.WaterMs || atMs-in.Water.LastMs < fallsMs {
		w.close(in, b)
		w.WaterMs = in.Water.LastMs
		return
	}
	w.drains(in, atMs, b)
	if w.Past.FromMs != 0 && atMs-w.Past.FromMs > mostFallMs {
		w.Past = Fallen{}
	}
	if w.FromMs == 0 || atMs-w.FromMs > mostFallMs {
		w.FromMs, w.Level, w.Last, w.Cel, w.ExpectedML = atMs, in.WaterContent, in.WaterContent, probeCel(in), 0
		return
	}
	past := float64(r.Zone[recentLooks-1])
	if past < 0 || atMs-w.FromMs < lateReportMs {
		return
	}
	w.ExpectedML += usualUptake(in, base) * 300
	w.Last = past
	expected, fell := (w.ExpectedML+float64(w.Past.ExpectedML))/in.VolumeML, w.Level-w.Last
	noise := math.Max(in.Learned.Noise, 0.0007)
	warmed := probeCel(in) - w.Cel
	perK, perKSD := w.Warming.perK()
	rises := fell+perK*warmed <= -math.Max(0.012, math.Hypot(6*noise, 2*perKSD*warmed))
	fell += float64(w.Past.Fell)
	warmed += float64(w.Past.Warmed)
	noise *= math.Sqrt(float64(w.Past.Stretches) + 1)
	fell += perK * warmed
	noise = math.Hypot(noise, perKSD*warmed)
	if expected < math.Max(leastFall, 3*noise) && !rises {
		return
	}
	w.learn(in, b)
	w.Past = Fallen{}
	w.SawMs, w.Expected, w.Fell, w.FromMs = atMs, float32(expected), float32(fell), 0
	fills := in.WaterContent < in.Learned.Capacity-leakLevel // a valve that leaks keeps a container full
	if rises && fills {
		b.add(ValveStuckOpen, 0.6) // water may still be on its way
		return
	}
	if rises {
		b.add(ValveStuckOpen, 1.8)
		b.add(UnreportedWatering, 0.4)
		return
	}
	says := weights{e: fell/expected - 1, spread: math.Hypot(usualFall, 1.5*noise/expected)}
	says.say(ValveStuckOpen, -1, 0.3)
	share := 1.0 // nothing hides a leak from a container that is full
	if fills {
		share = 0.3
	}
	no := math.Max(says.r[ValveStuckOpen], 0)
	if w.Level > in.Learned.Capacity {
		says.r[ValveStuckOpen] = no // what stands above capacity falls as it drains
	}
	says.r[Oversaturation], says.r[WeatherOrGrowth] = 0.1*no, 0.1*no
	top := &base.Of[Peak]
	if top.Days >= leastDays && in.WaterContent > float64(top.Mean)+standsLevel && fell > -0.3*expected {
		says.r[Oversaturation], says.r[ValveStuckOpen] = no, 0.3*says.r[ValveStuckOpen]
	}
	says.tell(b, share, 4)
}

// close ends a stretch and keeps what it came to.
func (w *FallWatch) close(in *Inputs, b *Belief) {
	if w.FromMs == 0 {
		return
	}
	p := &w.Past
	if p.FromMs == 0 {
		p.FromMs = w.FromMs
	}
	p.ExpectedML += float32(w.ExpectedML)
	p.Fell += float32(w.Level - w.Last)
	p.Warmed += float32(probeCel(in) - w.Cel)
	p.Stretches = min(p.Stretches+1, 250)
	w.learn(in, b)
	w.FromMs = 0
}

// learn takes from the stretch how much readings move with temperature.
func (w *FallWatch) learn(in *Inputs, b *Belief) {
	if b.moving() > frozenAt {
		return
	}
	warmed := probeCel(in) - w.Cel
	perK, _ := w.Warming.perK()
	expected, noise := w.ExpectedML/in.VolumeML, math.Max(in.Learned.Noise, 0.0007)
	w.Warming.learn(warmed, expected-(w.Level-w.Last+perK*warmed), math.Hypot(usualFall*expected, 1.5*noise))
}

const (
	// fallsMs is how long after a watering its zone falls, but for what the crop does not
	// drink and drains, which is not held against it.
	fallsMs = 45 * 60 * 1000
	// lateReportMs is how long after it began to come water is reported at the latest, in
	// looks: volumes are when the valve closes.
	lateReportMs = (recentLooks - 1) * 5 * 60 * 1000
	// mostFallMs is how far apart what is judged together may be.
	mostFallMs = 12 * hourMs
	// leastFall is the fall that is waited for before it is judged, m3/m3.
	leastFall = 0.006
	// usualFall is how far the fall of a healthy zone strays from what its baseline
	// says, as a share.
	usualFall = 0.35
	// leakLevel is how far below capacity a zone may be that a leak feeds, m3/m3.
	leakLevel = 0.02
	// standsLevel is how far above its usual peak a zone stands whose water cannot drain,
	// m3/m3: what leaks into one that drains lifts it by less. What stands does not rise
	// by itself.
	standsLevel = 0.04
	// lateDrain is the drain within an hour or two that is water still coming when
	// lateMs have passed since any was reported, as a share of the volume.
	lateDrain = 0.003
	lateMs    = 3 * hourMs
)

// drains weighs, once an hour, drain that goes on long after any water that was
// reported.
func (w *FallWatch) drains(in *Inputs, atMs int64, b *Belief) {
	if atMs-in.Water.LastMs < lateMs || atMs-w.DrainMs < hourMs {
		return
	}
	w.DrainMs = atMs
	if in.Water.DrainHourML > lateDrain*in.VolumeML {
		b.add(ValveStuckOpen, 1)
	}
}

// usualUptake is what this zone would take up now by its own baseline, mL/s, or
// by the balance before there is one: as its water content shows it.
func usualUptake(in *Inputs, base *Baselines) float64 {
	k := UptakeNight
	if in.Daytime {
		k = UptakeDay
	}
	rate := in.Learned.RateLog + math.Log(in.Learned.gain())
	if u := &base.Of[k]; u.Days >= leastDays {
		rate = math.Min(math.Max(float64(u.Mean+u.Trend), rate-1.5), rate+1.5)
	}
	return math.Exp(rate) * drawn(in)
}
