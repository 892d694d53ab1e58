package diagnose

import "math"

// FallWatch follows the zone between its waterings: without more water it must fall as
// the crop drinks. The falls of several stretches are added up until there is enough
// to judge. It judges a quarter of an hour late: water shows before it is reported.
type FallWatch struct {
	FromMs     int64 // of the stretch, 0: not watching
	WaterMs    int64 // reported watering that it follows
	Level      float64
	Last       float64 // water content a quarter of an hour ago
	Cel        float64 // at FromMs, of CelOf
	CelOf      warmthOf
	ExpectedML float64
	Past       Fallen
	Warming    Warming
	Usual      Share // of the fall that is expected
	DrainMs    int64 // when the drain was last looked at
	GaugeMs    int64 // when a gauge last told of drain
	SawMs      int64 // newest fall that was judged
	Elsewhere  Elsewhere
	Less       bool    // shots lift less than usual, too
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

// look judges whether the zone falls while nobody waters it, which stands by lifted higher
// than the water that was reported explains.
func (w *FallWatch) look(in *Inputs, r *Recently, atMs int64, base *Baselines, b *Belief, lifted float64) {
	if in.Water.DrainHourML > gaugeShows*in.VolumeML {
		w.GaugeMs = atMs
	}
	water := in.Water.LastMs
	if !in.Water.Reports {
		water = in.Water.LastShotMs // those that are seen
	}
	if in.Water.ValveOpenMs != 0 || water > w.WaterMs || atMs-water < fallsMs {
		w.close(in, b)
		w.WaterMs = water
		return
	}
	if in.Water.Reports {
		w.drains(in, atMs, b)
	}
	if w.Past.FromMs != 0 && atMs-w.Past.FromMs > mostFallMs {
		w.Past = Fallen{}
	}
	cel, of := probeCel(in)
	if w.FromMs == 0 || atMs-w.FromMs > mostFallMs || of != w.CelOf {
		w.FromMs, w.Level, w.Last, w.Cel, w.CelOf, w.ExpectedML = atMs, in.WaterContent, in.WaterContent, cel, of, 0
		return
	}
	past := float64(r.Zone[recentLooks-1])
	if past < 0 || atMs-w.FromMs < lateReportMs {
		return
	}
	w.ExpectedML += usualUptake(in, base) * 300
	w.Last = past
	if f := w.fall(in, cel-w.Cel); f.expected >= math.Max(leastFall, 3*f.noise) || f.rises {
		w.learn(in, cel-w.Cel, b)
		w.Past, w.FromMs, w.SawMs = Fallen{}, 0, atMs
		w.Expected, w.Fell = float32(f.expected*w.Usual.mean()), float32(f.fell)
		w.elsewhere(&f, in, atMs, base)
		w.judge(&f, in, atMs, base, b, lifted)
	}
}

// fall is what the stretches came to, m3/m3.
type fall struct {
	expected, fell float64
	noise          float64 // standard deviation of fell
	rises          bool    // the newest stretch does
}

// fall adds the stretches up, the newest of which warmed by so many K, less what warmth
// makes of the readings.
func (w *FallWatch) fall(in *Inputs, warmed float64) fall {
	p, fell := &w.Past, w.Level-w.Last
	noise := math.Max(in.Learned.Noise, leastFallNoise)
	perK, perKSD := w.Warming.perK()
	rises := fell+perK*warmed <= -math.Max(leastRising, math.Hypot(6*noise, 2*perKSD*warmed))
	warmed += float64(p.Warmed)
	return fall{
		expected: (w.ExpectedML + float64(p.ExpectedML)) / in.VolumeML,
		fell:     fell + float64(p.Fell) + perK*warmed,
		noise:    math.Hypot(noise*math.Sqrt(float64(p.Stretches)+1), perKSD*warmed),
		rises:    rises,
	}
}

// judge weighs a fall. What a rise within a stretch adds to the log odds is less than what
// RiseWatch makes of it, which sees each probe (common practice, no source).
func (w *FallWatch) judge(f *fall, in *Inputs, atMs int64, base *Baselines, b *Belief, lifted float64) {
	fills := in.WaterContent < in.Learned.Capacity-leakLevel // a valve that leaks keeps a container full
	switch {
	case !in.Water.Reports && f.rises:
		return // a watering
	case f.rises && fills:
		b.add(ValveStuckOpen, 0.6) // water may still be on its way
		return
	case f.rises:
		b.add(ValveStuckOpen, 1.8)
		b.add(UnreportedWatering, 0.4)
		return
	}
	usual, noise := w.Usual.mean(), 1.5*f.noise/f.expected
	says := weights{e: f.fell/f.expected - usual, spread: w.Usual.spread(noise)}
	says.say(ValveStuckOpen, -usual, 0.3)
	if b.moving() < frozenAt {
		w.Usual.learn(says.e, noise, b.LogOdds[ValveStuckOpen] < speaks)
	}
	if !in.Water.Reports && (base.Of[UptakeDay].Days < leastDays || w.Usual.Spread < 2*spreadJudged) {
		return // it may be watered without anyone seeing it: only what is known of its falls tells
	}
	no := math.Max(says.r[ValveStuckOpen], 0)
	if w.Level > in.Learned.Capacity {
		says.r[ValveStuckOpen] = no // what stands above capacity falls as it drains
	}
	switch {
	case fills && w.Less:
		// what leaks into a container that has room takes nothing from what shots lift it
		says.r[ValveStuckOpen] = math.Min(says.r[ValveStuckOpen], 0)
		no = 0
	case fills && (in.WaterContent < in.refill() || !in.Water.Reports || base.lessByDay(atMs)), !fills && w.noDrain(in, atMs):
		// an open valve fills a container within hours, what leaks is no share of what is
		// drunk, and what is given a full one drains
		says.r[ValveStuckOpen] = math.Min(says.r[ValveStuckOpen], 0)
		no = 0
	}
	says.r[Oversaturation], says.r[WeatherOrGrowth] = 0.1*no, 0.1*no
	if in.lit() && atMs-in.ClimateMs > climateMs {
		// nobody tells what the day asks: on a dull one the crop drinks a part of the usual
		says.say(WeatherOrGrowth, -dullDay*usual, dullSpread*usual)
	}
	top := &base.Of[Peak]
	if top.Days >= leastDays && in.WaterContent-lifted > float64(top.Mean)+standsLevel && f.fell > -0.3*f.expected {
		says.r[Oversaturation], says.r[ValveStuckOpen] = no, 0.3*says.r[ValveStuckOpen]
	}
	share := 1.0 // nothing hides a leak from a container that is full
	if fills {
		share = 0.3
		// and one that falls as it drinks, with room for water, gets none
		b.add(ValveStuckOpen, (1-share)*math.Min(says.r[ValveStuckOpen], 0))
	}
	says.tell(b, share, mostFallSays)
}

// elsewhere lets a fall tell whether the roots stand in another container: one by nothing but
// uptake, of a zone whose uptake is known and that has the water that its crop asks for.
func (w *FallWatch) elsewhere(f *fall, in *Inputs, atMs int64, base *Baselines) {
	dull := in.lit() && atMs-in.ClimateMs > climateMs // nobody tells what the day asks
	if f.rises || dull || base.Of[UptakeDay].Days < leastDays || w.Level > in.Learned.Capacity || in.WaterContent < in.refill() {
		return
	}
	usual := w.Usual.mean()
	if usual < leastUsualFall {
		return // of a zone that does not fall nothing is a share
	}
	w.Elsewhere.fell(f.fell/f.expected/usual, w.Usual.spread(1.5*f.noise/f.expected)/usual, atMs)
}

// close ends a stretch and keeps what it came to.
func (w *FallWatch) close(in *Inputs, b *Belief) {
	cel, of := probeCel(in)
	if w.FromMs == 0 || of != w.CelOf {
		w.FromMs = 0
		return
	}
	p := &w.Past
	if p.FromMs == 0 {
		p.FromMs = w.FromMs
	}
	p.ExpectedML += float32(w.ExpectedML)
	p.Fell += float32(w.Level - w.Last)
	p.Warmed += float32(cel - w.Cel)
	p.Stretches = min(p.Stretches+1, 250)
	w.learn(in, cel-w.Cel, b)
	w.FromMs = 0
}

// learn takes from the stretch how much readings move with temperature.
func (w *FallWatch) learn(in *Inputs, warmed float64, b *Belief) {
	if b.moving() > frozenAt {
		return
	}
	perK, _ := w.Warming.perK()
	expected, noise := w.Usual.mean()*w.ExpectedML/in.VolumeML, math.Max(in.Learned.Noise, leastFallNoise)
	w.Warming.learn(warmed, expected-(w.Level-w.Last+perK*warmed), math.Hypot(usualFall*expected, 1.5*noise))
}

// All sizes here: common practice, no source.
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
	// leastRising is the least rise within a stretch that is taken for one, m3/m3.
	leastRising = 0.012
	// leastFallNoise is what a zone's water content errs by at least, m3/m3.
	leastFallNoise = 0.0007
	// mostFallSays bounds what one fall says.
	mostFallSays = 4
	// gaugeShows is the drain within an hour or two by which a gauge tells that it works, as a
	// share of the volume, and gaugeMs for how long it is then taken to: trays are looked
	// after weekly.
	gaugeShows = 0.001
	gaugeMs    = 7 * dayMs
	// climateMs is how long what the climate asked stands for the present, and dullDay by how
	// much less a crop drinks on a dull day, as a share, with its spread.
	climateMs           = hourMs
	dullDay, dullSpread = 0.5, 0.3
	// leakLevel is how far below capacity a zone may be that a leak feeds, m3/m3.
	leakLevel = 0.02
	// standsLevel is how far above its usual peak a zone stands whose water cannot drain,
	// m3/m3: what leaks into one that drains lifts it by less, or is seen to lift it. What
	// stands does not rise by itself.
	standsLevel = 0.04
	// lateDrain is the drain within an hour or two that is water still coming when
	// lateMs have passed since any was reported, as a share of the volume.
	lateDrain = 0.003
	lateMs    = 3 * hourMs
)

// noDrain tells that a gauge which works tells of no drain.
func (w *FallWatch) noDrain(in *Inputs, atMs int64) bool {
	return in.Water.DrainHeard && w.GaugeMs != 0 && atMs-w.GaugeMs < gaugeMs && in.Water.DrainHourML < gaugeShows*in.VolumeML
}

// drains weighs, once an hour, drain that goes on long after any water that was
// reported, and that there is none from a container that is full.
func (w *FallWatch) drains(in *Inputs, atMs int64, b *Belief) {
	if atMs-in.Water.LastMs < lateMs || atMs-w.DrainMs < hourMs {
		return
	}
	w.DrainMs = atMs
	switch {
	case in.Water.DrainHourML > lateDrain*in.VolumeML:
		b.add(ValveStuckOpen, 1)
	case w.noDrain(in, atMs) && in.WaterContent >= in.Learned.Capacity-leakLevel:
		b.add(ValveStuckOpen, -1) // what a valve that leaks gives a full container runs out
	}
}
