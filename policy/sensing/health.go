package sensing

// Health is what is thought of a probe.
type Health uint8

// The states of health, in the words of the wire.
const (
	OK          Health = iota
	Stale              // silent for longer than its own rhythm explains
	Stuck              // it does not move where its like and its own past say it should
	OutOfRange         // it says what cannot be
	Jumping            // a step that no water explains; ends once it has settled
	Drifting           // its difference from its peers has been moving for days
	Disagreeing        // its difference from its peers has left its usual range within hours
	ClockWrong         // its timestamps cannot be trusted
	healthCount
)

// HealthCount is the number of states of health.
const HealthCount = int(healthCount)

var healthNames = [healthCount]string{
	OK: "ok", Stale: "stale", Stuck: "stuck", OutOfRange: "out-of-range", Jumping: "jumping",
	Drifting: "drifting", Disagreeing: "disagreeing", ClockWrong: "clock-wrong",
}

// String returns the word of the wire.
func (h Health) String() string {
	if h < healthCount {
		return healthNames[h]
	}
	return "unknown"
}

// Usable reports whether readings in this state may count for the zone.
func (h Health) Usable() bool { return h == OK }

// Surroundings are what is known around a probe at its reading.
type Surroundings struct {
	Others     float64 // water content of the zone by its other probes, m3/m3
	OthersRose float64 // how far that has risen in the last quarter of an hour, m3/m3, at least 0
	OthersN    int     // how many probes that rests on; 0: Others is not known
	WaterMs    int64   // when water was last given as far as it was reported; 0: never
	Ceiling    float64 // total porosity, m3/m3; 0: not known
	Least      float64 // below it no substrate that roots live in reads, m3/m3; 0: not known
	Wilting    float64 // what roots leave in the substrate, m3/m3; 0: not known
	Drains     bool    // by this probe its container still holds more than it keeps when drained
	Dry        bool    // by this probe its container is dry, by the others theirs are not
}

// ProbeHealth follows one probe. The zero value is a probe never heard of. It is
// plain data of fixed size, part of the snapshot.
type ProbeHealth struct {
	LastMs   int64 // newest accepted reading
	Last     float32
	Rhythm   Rhythm
	Noise    float32 // standard deviation of one reading about its course, m3/m3
	Restless float32 // the same of the newest dozen readings

	Step   Step
	Still  Still
	Drift  Drift
	Bad    uint8 // leaking count of impossible readings
	Heard  uint32
	Before float32 // the reading before Last

	Misdating bool // the shell says that its clock is wrong
	Relearn   bool // its offset is void: it drifted, and has come to rest elsewhere
	Shifted   bool // its offset is void: it was moved
	State     Health
	Since     Second // of State
	First     Second // first reading, or when it was begun anew
}

// bad counts: an impossible reading adds badAdds, a good one takes 1 off, and
// the probe is out of range from badIll on, so that one garbled message is
// forgiven and a probe that hangs in the air is not (common practice, no source).
const (
	badAdds = 3
	badIll  = 6
	badMost = 12
)

// outsideCeiling is how far a reading may lie above the total porosity, m3/m3:
// calibrations err and porosities are estimates (common practice, no source).
const outsideCeiling = 0.15

// Refuse records a reading that cannot be (no water content comes of it), at an
// instant in Unix milliseconds.
func (h *ProbeHealth) Refuse(atMs int64) Health {
	h.Bad = min(h.Bad+badAdds, badMost)
	h.judge(atMs)
	return h.State
}

// Misdated records whether the shell finds the probe's clock wrong.
func (h *ProbeHealth) Misdated(atMs int64, wrong bool) Health {
	h.Misdating = wrong
	h.judge(atMs)
	return h.State
}

// Moved records that a person moved the probe, or gave it another container or
// substrate: what was learned of its place is void.
func (h *ProbeHealth) Moved(atMs int64) {
	h.First = second(atMs)
	h.Step, h.Still, h.Drift = Step{}, Still{}, Drift{}
	h.Shifted = true
	h.judge(atMs)
}

// Looked records that a person looked at the probe and found it well: what it says counts
// from its next reading on. It reports whether it did not before.
func (h *ProbeHealth) Looked(atMs int64) (changed bool) {
	if h.Step.LeftAt == 0 {
		return false
	}
	h.Step.believe(atMs, float64(h.Last))
	h.Still.begin(atMs, float64(h.Last))
	h.Drift = Drift{}
	h.Shifted = true
	h.judge(atMs)
	return true
}

// Observe takes a reading: atMs its own time in Unix milliseconds, own the water
// content at the probe, and mean the zone's by this probe alone (the mean of the
// container whose profile gives own at its height), both m3/m3. Readings that
// are not newer than the last are passed over. It returns the probe's health,
// which counts for this very reading.
func (h *ProbeHealth) Observe(atMs int64, own, mean float64, s Surroundings) Health {
	if atMs <= h.LastMs && h.Heard > 0 {
		return h.State
	}
	if !(own >= s.Least) || s.Ceiling > 0 && own > s.Ceiling+outsideCeiling {
		h.LastMs = max(h.LastMs, atMs)
		return h.Refuse(atMs)
	}
	if h.Bad > 0 {
		h.Bad--
	}
	if h.Heard == 0 {
		h.First = second(atMs)
		h.Step.begin(atMs, own)
		h.Still.begin(atMs, own)
	} else {
		h.follow(atMs, own, mean, s)
	}
	h.Heard++
	h.Before, h.Last, h.LastMs = h.Last, float32(own), atMs
	h.judge(atMs)
	return h.State
}

// follow takes a reading of a probe that was heard before.
func (h *ProbeHealth) follow(atMs int64, own, mean float64, s Surroundings) {
	dt := atMs - h.LastMs
	silent := h.Rhythm.late(dt)
	h.Rhythm.Learn(dt)
	if silent {
		h.Still.begin(atMs, own)
	} else {
		h.learnNoise(own, dt, s.WaterMs != 0 && atMs-s.WaterMs <= reversalMs+2*dt)
	}
	noise := float64(h.Noise)
	jumped := h.Step.observe(stepReading{
		atMs: atMs, own: own, last: float64(h.Last), before: h.beforeLast(), dtMs: dt, noise: noise, rhythmS: float64(h.Rhythm.UsualS),
		young: atMs-h.First.ms() < youngMs, silent: silent,
	}, s)
	switch jumped {
	case stepSettled:
		h.Shifted = true
		h.Drift = Drift{}
		h.Still.begin(atMs, own)
	case stepNone:
		h.Still.observe(stillReading{
			atMs: atMs, dtMs: dt, own: own, noise: noise, same: float32(own) == h.Last,
			quiet: float64(h.Restless) <= quietShare*noise, known: atMs-h.First.ms() > knownMs,
		}, s)
		h.Drift.observe(atMs, min(dt, longestStepMs), own, mean, s)
	}
	if h.Drift.forgotten() {
		h.Relearn = true
	}
}

// beforeLast is the reading before the last.
func (h *ProbeHealth) beforeLast() float64 {
	if h.Heard < 2 {
		return float64(h.Last)
	}
	return float64(h.Before)
}

// youngMs is how long after its first reading a probe may fall as it likes:
// substrate that was just filled and soaked drains.
const youngMs = 2 * hourMs

// Second is an instant in Unix seconds, to 2106; 0 is none.
type Second uint32

func second(ms int64) Second { return Second(ms / 1000) }

func (s Second) ms() int64 { return int64(s) * 1000 }

const (
	minuteMs = int64(60 * 1000)
	hourMs   = 60 * minuteMs
	dayMs    = 24 * hourMs
	// longestStepMs caps the weight of one reading after a gap.
	longestStepMs = hourMs
)

// Health returns the state at an instant, Unix milliseconds, at which the probe
// may have fallen silent.
func (h *ProbeHealth) Health(atMs int64) Health {
	h.judge(atMs)
	return h.State
}

// Held reports whether the newest reading waits for its peers to confirm it: a
// rise that no one else has seen yet. It is no illness, but it does not count.
func (h *ProbeHealth) Held() bool { return h.Step.SuspectAt != 0 }

// Stepped returns the newest step that no water explains and after which the probe has
// stayed at another level: when it began, Unix milliseconds, and the water contents at the
// probe before and after, m3/m3. 0 for none, or none since a person moved the probe.
func (h *ProbeHealth) Stepped() (atMs int64, from, to float64) {
	s := &h.Step
	return s.SteppedAt.ms(), float64(s.SteppedFrom), float64(s.SteppedTo)
}

// asksOthers reports whether the next reading needs to know if the peers rose: a
// rise to explain, a jump, or a watering that waits for its answer.
func (h *ProbeHealth) asksOthers(own float64) bool {
	return h.Step.SuspectAt != 0 || h.Step.LeftAt != 0 || h.Still.WaterAt != 0 && h.Still.WaterRef >= 0 ||
		own-min(float64(h.Last), float64(h.Step.Anchor)) >= loneRise
}

func (h *ProbeHealth) judge(atMs int64) {
	state := OK
	switch {
	case h.Misdating:
		state = ClockWrong
	case h.Bad >= badIll || h.Step.LeftAt != 0 && h.Step.Landed == landedOut:
		state = OutOfRange
	case h.Heard > 0 && h.Rhythm.late(atMs-h.LastMs):
		state = Stale
	case h.Still.Stuck:
		state = Stuck
	case h.Step.LeftAt != 0 || h.restless():
		state = Jumping
	case h.Drift.Drifting:
		state = Drifting
	case h.Drift.Disagreeing:
		state = Disagreeing
	}
	if state != h.State || h.Since == 0 {
		h.State, h.Since = state, second(atMs)
	}
}

// learnNoise follows the scatter of single readings by their reversals: a step up
// that is followed by one down, or the other way round, counts with the smaller
// of the two. A shot or a dry-down, however steep, is no reversal. For independent
// normal errors of standard deviation s the mean is 0.566 s (by simulation). A shot
// that has drained again within a reading or two is a reversal too: where water was
// just reported, what it lifts this probe by as a rule is no noise.
func (h *ProbeHealth) learnNoise(own float64, dtMs int64, watered bool) {
	if h.Heard < 2 {
		return
	}
	first, second := float64(h.Last-h.Before), own-float64(h.Last)
	size := 0.0
	if first*second < 0 {
		size = min(abs(first), abs(second)) / reversalOfNoise
		if watered && size > 2*float64(h.Noise) && size*reversalOfNoise <= usualRise*float64(h.Step.RiseHigh) {
			return
		}
	}
	h.Restless += float32((min(size, 0.2) - float64(h.Restless)) * max(1/float64(h.Heard), 0.08))
	if h.Heard > 50 && h.State == Jumping {
		return // what is ill sets no standard
	}
	h.Noise += float32((min(size, 4*float64(h.Noise)+0.001) - float64(h.Noise)) * max(1/float64(h.Heard), min(float64(dtMs)/float64(dayMs), 0.02)))
}

// restless reports noise that has grown out of proportion with the probe's own.
func (h *ProbeHealth) restless() bool {
	limit := max(restlessLeast, restlessTimes*h.Noise)
	if h.State == Jumping {
		limit /= 3 // it must calm down before it is believed again
	}
	return h.Heard > 50 && h.Restless > limit
}

const (
	reversalOfNoise = 0.566
	// reversalMs is how long water that was reported moves a probe up and down
	// again, as it arrives, spreads and drains, ms.
	reversalMs = 20 * minuteMs
	// restlessLeast is the noise from which a probe that was quieter is not
	// believed, m3/m3, and restlessTimes how much quieter it must have been (common
	// practice, no source).
	restlessLeast = 0.012
	restlessTimes = 4
	// quietShare is the share of its usual noise below which a probe that does not
	// move has lost its noise too.
	quietShare = 0.5
)

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}
