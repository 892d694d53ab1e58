package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// ShotTest holds each reported watering, or a few in close succession, against what
// comes of it: over a window from before the first to when the last has shown,
//
//	share = (V (w_end - w_begin) + uptake) / given
//
// It is the zone's usual share, or room / given where there is less room than that,
// with room = V (capacity - w_begin) + uptake; a part of it where some of the water
// came, and 0 where none did. That is a balance of water, so that it speaks as soon as
// shots are reported; what is learned is only how much this zone usually keeps, and how
// far that strays. On 34 simulated facilities the share over the usual one was 0.8 to 1.1 in half of
// the sound zones' windows, 0.35 to 0.6 behind blocked emitters and -0.1 to 0.1 behind
// closed valves; full and dry containers are what strays.
type ShotTest struct {
	FromMs   int64 // of the window, 0: none is open
	WaterMs  int64 // newest report that was counted
	GivenML  float64
	UptakeML float64
	Zone     float32 // water content at FromMs, m3/m3
	Level    [sensing.MaxProbes]float32
	Reports  uint8 // in the window
	Drain    Gauge

	// Usual is the share of windows that begin at rest, of those that follow on others,
	// as water runs through what still drains, and of those that begin in dry substrate,
	// which lets much of it run past.
	Usual   [3]Answer
	Follows bool // the window does
	Dry     bool // it begins in dry substrate
	Windows uint16
	Seen    uint16  // windows whatever they begin from
	Lost    uint8   // reports in a row that did not show at all
	Ran     bool    // drain went on meanwhile
	Recent  float32 // leaky mean of the newest
	SawMs   int64
	From    float32 // water content that windows begin from, mean
	FromVar float32
	DryFrom float32 // the same of those that begin in dry substrate
	Ceiling Ceiling // of the day's windows
	Slope   float32 // of the newest day that told one
	Runs    Running // what drains while shots are lost
	SlopeMs int64   // when that day ended, 0: none has
	LostMs  int64   // the first window of those that are lost
}

const (
	// showsMs is how long after a report its water has shown at the probes, and
	// windowMs how long a window waits for a pause in the waterings.
	showsMs  = 25 * 60 * 1000
	windowMs = 80 * 60 * 1000
	// followMs is the rest after which a window does not follow on another: drainage
	// above capacity has ended.
	followMs = 4 * hourMs
	// longWindowMs drops a window whose water is too little to be read.
	longWindowMs = 5 * hourMs
	// captureDoubt is how far the share kept strays in a zone that is not known yet, and
	// shareFloor how far at least in one that is.
	captureDoubt, shareFloor = 0.22, 0.13
	// leastRise is the least rise that a window is judged by, m3/m3.
	leastRise = 0.006
	// besideOdds is the log odds of a container that gets no water from which its probe
	// says nothing of what the zone's shots do.
	besideOdds = 1
	// dryDrinks is how far the uptake of a zone that gets no water may be from what is usual,
	// as a share: it is what makes up for the water that does not come (common practice,
	// no source).
	dryDrinks = 0.25
	// shortShare of what usually stays is missing behind a fault that a grower would want to
	// know of, and shortSpread is how much that differs (common practice, no source).
	shortShare, shortSpread = 0.5, 0.2
	// shotShare of what a window says counts: those of a day share their causes of error.
	shotShare = 0.75
)

// shots follows the window and judges it at its end.
func (f *Fast) shots(in *Inputs, atMs int64, base *Baselines, b *Belief) {
	t, r := &f.Shots, &f.Recently
	r.push(in, atMs)
	uptake := likelyUptake(in, atMs, base) * 300
	t.UptakeML += uptake
	came := r.Total[0] > r.Total[1] && r.Zone[1] >= 0
	if t.FromMs == 0 {
		if !came {
			return
		}
		t.open(r, atMs, uptake)
		t.Drain.begin(in)
	}
	if came {
		t.Reports = min(t.Reports+1, 250)
		t.WaterMs = atMs
	}
	age := atMs - t.FromMs
	total := float64(r.Total[0]) + r.Base
	switch {
	case atMs-t.WaterMs >= showsMs && f.answered(in, t.WaterMs, atMs):
	case age >= windowMs:
		total = float64(r.Total[recentLooks-1]) + r.Base
	default:
		return
	}
	given := total - t.GivenML
	sd := math.Max(in.Learned.Noise, 0.001)
	if given/in.VolumeML < math.Max(leastRise, 4*sd) {
		if age > longWindowMs {
			t.FromMs = 0
		}
		return
	}
	f.judge(in, atMs, given, b)
	t.FromMs = 0
	if atMs-t.WaterMs < showsMs {
		t.next(r, atMs, total)
		t.Drain.begin(in)
	}
}

// answered reports whether the probes have spoken since the water of a report has
// had time to reach them, or will not.
func (f *Fast) answered(in *Inputs, waterMs, atMs int64) bool {
	if atMs-waterMs > 2*showsMs {
		return true
	}
	for i := range in.Probes[:in.ProbeCount] {
		if p := &in.Probes[i]; p.Heard && p.Health.Usable() && p.AtMs < waterMs+10*60*1000 {
			return false
		}
	}
	return true
}

// open begins a window before the water that came: volumes are reported when the
// valve closes, a quarter of an hour after it opened at the most.
func (t *ShotTest) open(r *Recently, atMs int64, uptake float64) {
	t.Follows = t.WaterMs != 0 && atMs-t.WaterMs < followMs
	t.FromMs, t.UptakeML, t.Reports = atMs, 2.5*uptake, 0
	t.GivenML = float64(r.Total[1]) + r.Base
	k := recentLooks - 1
	if r.Zone[k] < 0 {
		k = 1
	}
	t.Zone = r.Zone[k]
	for i := range t.Level {
		t.Level[i] = r.mean(i, k-1, k)
		if k == 1 {
			t.Level[i] = r.Level[1][i]
		}
	}
}

// next begins a window where one ends amid waterings.
func (t *ShotTest) next(r *Recently, atMs int64, total float64) {
	t.Follows = true
	t.FromMs, t.UptakeML, t.Reports, t.GivenML, t.Zone = atMs, 0, 0, total, r.Zone[0]
	for i := range t.Level {
		t.Level[i] = r.mean(i, 0, 1)
	}
}

// judge weighs a window.
func (f *Fast) judge(in *Inputs, atMs int64, given float64, b *Belief) {
	t := &f.Shots
	rise, n := 0.0, 0.0
	for i := range in.Probes[:in.ProbeCount] {
		now := f.Recently.mean(i, 0, 1)
		if f.Probes.At(i).Odds > besideOdds {
			continue // what one container does not get is told by its probe
		}
		if in.Probes[i].Health.Usable() && now >= 0 && t.Level[i] >= 0 && !f.Recently.Still.At(i).frozen() {
			rise += float64(now - t.Level[i])
			n++
		}
	}
	if n == 0 {
		return
	}
	rise /= n
	if end := float64(t.Zone) + rise; !in.Water.stops(end) {
		t.Ceiling.take(float64(t.Zone), end)
	}
	l := &in.Learned
	kept := in.VolumeML*rise + t.UptakeML
	if !f.Reports {
		return
	}
	room := (in.VolumeML*(l.Capacity-float64(t.Zone)) + t.UptakeML) / given
	noise := math.Hypot(l.Noise, 0.001) * in.VolumeML
	sd := math.Hypot(noise, 0.2*t.UptakeML) / given
	t.take(math.Min(math.Max(kept/given, -0.5), 2), room, sd, given, in, atMs, b)
}

// liftsLess tells that the newest windows, of the last so many ms, kept less than is usual.
func (t *ShotTest) liftsLess(atMs, ms int64) bool {
	u := t.usual()
	return u.Windows > 0 && t.SawMs != 0 && atMs-t.SawMs < ms && t.Recent < 0.8*u.Mean
}

// usual is what is usual of windows like this one.
func (t *ShotTest) usual() *Answer {
	switch {
	case t.Dry:
		return &t.Usual[2]
	case t.Follows:
		return &t.Usual[1]
	}
	return &t.Usual[0]
}

// begin gives what is usual a start where none of its kind was seen: the other kind,
// or what is expected of a zone that nobody knows.
func (t *ShotTest) begin(capture float64) {
	u := t.usual()
	if u.Windows > 0 {
		return
	}
	*u = Answer{Mean: float32(math.Min(math.Max(capture, 0.6), 1)), Var: captureDoubt * captureDoubt}
	if o := &t.Usual[0]; u != o && o.Windows > 0 {
		u.Mean = o.Mean
	}
	if t.Windows == 0 {
		t.Recent, t.From = u.Mean, t.Zone
	}
}

// take weighs the share that was kept.
func (t *ShotTest) take(x, room, sd, given float64, in *Inputs, atMs int64, b *Belief) {
	t.Dry = t.dry(in, float64(t.Zone))
	t.begin(in.Learned.Capture)
	mean := float64(t.usual().Mean)
	t.SawMs = atMs
	t.Recent += 0.4 * (float32(x) - t.Recent)
	usual := math.Min(mean, room)
	if usual < 0.5*mean {
		return // most of it would not have stayed
	}
	usual = math.Max(usual, 0.3)
	full := t.full(in, room, given)
	if b.moving() < frozenAt {
		t.learnLevel()
	}
	if full {
		return // what has no room drains: no fault of what brings it
	}
	if room < mean {
		sd = math.Hypot(sd, in.Learned.CapacitySD*in.VolumeML/given)
	}
	spread, roomy := t.spread(sd), !t.Dry && room >= 1.1*mean
	if roomy && t.Windows < roomyWindows { // windows short of room do not tell what this one should keep
		spread = math.Max(spread, captureDoubt)
	}
	if !t.Dry || t.knowsDry() {
		t.tell(x, usual, spread, sd, given, in, atMs, b)
	} else {
		t.acquit(x-t.UptakeML/given, math.Max(usual, math.Min(float64(t.Usual[0].Mean), room)), spread, sd, b)
	}
	if b.moving() < frozenAt {
		t.Drain.learn(&t.usual().Drains, given, in)
	}
	e := x - usual
	if b.moving() > frozenAt && e < 0 {
		return
	}
	if room < 1.1*mean {
		if !t.Dry { // how far it strays is seen where room is short, too
			t.usual().learnSpread(e, spread, sd, 0.03)
		}
		return
	}
	if t.Dry {
		t.usual().learn(e, spread, sd, dryPace)
		return
	}
	t.usual().learn(e, spread, sd, math.Max(1/float64(t.Windows+3), 0.03))
	t.Windows = min(t.Windows+1, 10000)
}

// tell says what a share means of which usual is expected.
func (t *ShotTest) tell(x, usual, spread, sd, given float64, in *Inputs, atMs int64, b *Belief) {
	if x > 0.2*usual {
		t.found()
	} else {
		if t.Lost == 0 {
			t.LostMs = atMs
		}
		t.Lost = uint8(min(int(t.Lost)+int(max(t.Reports, 1)), 250))
	}
	r := weights{e: x - usual, spread: spread}
	r.short(usual)
	r.say(ValveStuckClosed, -usual, math.Hypot(0.05*usual, dryDrinks*t.UptakeML/given))
	t.Drain.tell(&r, t.usual().Drains, given, in)
	weight := t.weight(x < 0.25*usual, in, atMs)
	r.tell(b, weight, 3.5)
	if x-t.UptakeML/given > 0.2*usual+2*sd {
		b.add(ValveStuckClosed, -3) // what lifts the zone came through the valve
	}
	if t.Ran = t.Lost > 0 && (t.Ran || t.Runs.look(in, t.LostMs, atMs)); t.Ran {
		b.ofOneContainer()
	}
}

// found takes that shots show again.
func (t *ShotTest) found() { t.Lost, t.Ran, t.Runs = 0, false, Running{} }

// acquit takes a window in dry substrate, which repels water: what does not stay accuses
// nothing, and what stays has come. lift is the share that is stored: what the crop of a zone
// that dried out drinks meanwhile is not known.
func (t *ShotTest) acquit(lift, usual, spread, sd float64, b *Belief) {
	if lift <= 0.2*usual+2*sd {
		return
	}
	t.found()
	r := weights{e: lift - usual, spread: spread}
	r.short(usual)
	r.against()
	r.tell(b, shotShare, 3.5)
	b.add(ValveStuckClosed, -3) // what lifts the zone came through the valve
}

// short says what causes by which a part of the water does not come, or does not stay, make of
// a share: a half of it, more or less, whichever it is. What is found in the container does not
// say where the rest went, and what differs between them must not be made up of many shots.
func (w *weights) short(usual float64) {
	for _, c := range [...]Cause{EmitterFault, EdgeChannelling, RootBound} {
		w.say(c, -shortShare*usual, shortSpread*usual)
	}
}

// weight is the share of what a window says that counts: it grows with the windows
// that such a share was learned from, for until then a shot that does not stay teaches
// as much as it accuses. Never to nothing: what most of a zone's volumes lift is known
// from the balance before anything is learned, and a fault makes a zone dry by itself.
// Shots of which nothing shows count the less the further the zone is below the water
// contents that shots usually begin from: on 34 simulated facilities 1 in 100 windows of
// sound zones kept next to nothing within 0.03 m3/m3 of those, 1 in 30 from 0.05 below, and
// half from 0.08 below, where water runs past or does not come down to the probe; a part was
// missing as seldom there as anywhere. Of many waterings a part is still on its way, or
// drains already.
func (t *ShotTest) weight(lost bool, in *Inputs, atMs int64) float64 {
	known := t.usual().Windows
	if lost && !t.Dry {
		known = max(t.Usual[0].Windows, t.Usual[1].Windows) // they show, both or neither
	}
	w := shotShare * (0.3 + 0.7*math.Min(float64(known)/leastShots, 1))
	switch {
	case lost && float64(t.Zone) > in.refill():
		return w // substrate in its band takes water
	case lost:
		deep := float64(t.From-t.Zone) / math.Max(0.03, 1.5*math.Sqrt(float64(t.FromVar)))
		return w * math.Min(math.Max(2-deep, 0.4), 1)
	}
	if atMs-t.WaterMs < showsMs || t.Reports > 2 {
		w *= 0.5
	}
	return w
}

// spread is how far a sound zone's share strays: what was learned, and what this
// window is less certain than those were.
func (t *ShotTest) spread(sd float64) float64 {
	u := t.usual()
	if u.Windows < leastShots {
		return math.Sqrt(math.Max(float64(u.Var), shareFloor*shareFloor+sd*sd))
	}
	return math.Sqrt(math.Max(float64(u.Var), shareFloor*shareFloor) + math.Max(sd*sd-float64(u.Doubt), 0))
}

// leastShots that were seen make a response to hold the next against, and roomyWindows with
// room for all of their water what the zone keeps then.
const leastShots, roomyWindows = 6, 4
