package sensing

// Step finds steps in one probe's readings that no water explains.
//
// A fall is impossible if it is faster than a crop can drink and a container
// can drain. Drainage is fast only just after water came, and takes no more than
// that water: a fall may always go back to where the last rise began, and down to
// what the container holds when it has drained, whatever filled it. A rise may
// be as fast as it likes, for water is; but water that reaches one probe of a
// zone reaches the others, or was reported.
//
// A probe that fell so and stays there may have been knocked, or hang in the air. It
// is believed again once it shows that it sits in substrate: it rises as water comes,
// or goes back most of the way. Below what roots leave in a substrate it is believed
// only when it has come back.
type Step struct {
	AnchorAt     Second // of a reading some minutes old, so that a fall in small pieces is seen too
	NextAnchorAt Second
	RiseAt       Second  // when the last rise was seen
	SuspectAt    Second  // when a rise began that no one else has seen yet; 0: none
	LeftAt       Second  // when the present jump began; 0: none
	JumpAt       Second  // ... and when it last moved on
	Anchor       float32 // m3/m3, as all below
	NextAnchor   float32
	RiseFrom     float32
	SuspectFrom  float32
	JumpFrom     float32 // where it came from
	JumpLevel    float32 // where it is now
	JumpTo       float32 // where it first went
	RiseHigh     float32 // the highest rise that water made, fading
	Spikes       float32 // leaking count of isolated ones
	JumpN        uint16  // readings since JumpAt
	SteppedAt    Second  // when the newest jump began that ended at another level; 0: none
	SteppedFrom  float32
	SteppedTo    float32
	Landed       landing
}

// landing is what a probe has shown of where it sits since it jumped.
type landing uint8

const (
	landedNowhere landing = iota
	landedOut             // it stays where no root leaves substrate
	landedIn              // it has risen with water
)

const (
	// fallPerMs is the fastest fall of a water content without drainage, m3/m3 per
	// ms: 0.15 an hour, a crop that drinks 0.1 L/h from a 0.65 L cube (common
	// practice, no source).
	fallPerMs = 0.15 / 3.6e6
	// stepLeast is the smallest step that is looked at, m3/m3: ten times the
	// noise of a good probe.
	stepLeast   = 0.012
	stepNoises  = 6.0 // ... and in standard deviations of the probe's own noise
	drainMs     = 3 * hourMs
	anchorMs    = 5 * minuteMs
	riseLeast   = 0.004 // of a shot, m3/m3
	loneRise    = 0.03  // a rise that must be explained, m3/m3
	loneNoises  = 10.0
	usualRise   = 1.5           // times the highest that water made
	waterRise   = 5.0           // ... that reported water alone explains
	riseFade    = 0.998         // a reading in a rise
	explainedMs = 45 * minuteMs // water this long ago explains a rise
	reportsMs   = 2 * dayMs     // for so long after a report the next is expected to be told, too
	spikeMs     = 20 * minuteMs // what is back by then was a spike
	settleMs    = 30 * minuteMs // a new level held this long is where the probe is now
	settleN     = 5
	manySpikes  = 4.0
	spellSpikes = 2.0 // of a probe that jumps to and fro
	// answerShare is the share of its highest rise with water that a probe rises by as it
	// answers, and answerNoises that in its own noise (common practice, no source).
	answerShare  = 0.3
	answerNoises = 6.0
	// restMs is how long after a rise probes of one zone show the same again.
	restMs      = 20 * minuteMs
	spikeFadeMs = 12 * hourMs
)

type stepReading struct {
	atMs, dtMs     int64
	own, last      float64
	before         float64 // the reading before last
	noise, rhythmS float64
	young, silent  bool
}

type stepOutcome uint8

const (
	stepNone    stepOutcome = iota
	stepJumping             // the reading is in a jump
	stepSettled             // the jump is over, at another level
)

func (s *Step) begin(atMs int64, own float64) {
	*s = Step{AnchorAt: second(atMs), Anchor: float32(own), NextAnchorAt: second(atMs), NextAnchor: float32(own)}
}

func (s *Step) observe(r stepReading, around Surroundings) stepOutcome {
	s.Spikes -= s.Spikes * float32(min(float64(r.dtMs)/float64(spikeFadeMs), 1))
	if s.LeftAt != 0 {
		return s.settle(r, around)
	}
	tolerance := max(stepLeast, stepNoises*r.noise)
	if !r.young && !around.Drains && s.fell(r, tolerance) {
		s.jump(r, min(r.last, r.before)) // the last may be a spike that it comes back from
		return stepJumping
	}
	s.noteRise(r)
	if s.lone(r, around) {
		s.jump(r, float64(s.SuspectFrom))
		return stepJumping
	}
	s.learnRise(r)
	s.moveAnchor(r)
	return stepNone
}

// fell reports a fall that is impossible, since the last reading or since the
// anchor.
func (s *Step) fell(r stepReading, tolerance float64) bool {
	return r.own < s.floor(r, r.last, r.dtMs)-tolerance ||
		r.own < s.floor(r, float64(s.Anchor), r.atMs-s.AnchorAt.ms())-tolerance
}

func (s *Step) floor(r stepReading, from float64, dtMs int64) float64 {
	if s.RiseAt != 0 && r.atMs-s.RiseAt.ms() < drainMs {
		from = min(from, float64(s.RiseFrom))
	}
	return from - fallPerMs*float64(dtMs)
}

func (s *Step) noteRise(r stepReading) {
	from := min(r.last, float64(s.Anchor))
	if r.own-from < max(riseLeast, 4*r.noise) {
		return
	}
	if s.RiseAt == 0 || r.atMs-s.RiseAt.ms() > 2*anchorMs || from < float64(s.RiseFrom) {
		s.RiseFrom = float32(from)
	}
	s.RiseAt = second(r.atMs)
}

// learnRise keeps how high water lifts this probe as a rule: a rise within that
// is no wonder, whatever the peers say.
func (s *Step) learnRise(r stepReading) {
	if s.SuspectAt != 0 || r.atMs != s.RiseAt.ms() && r.atMs-s.RiseAt.ms() >= 1000 {
		return
	}
	s.RiseHigh = max(s.RiseHigh*riseFade, float32(r.own)-s.RiseFrom)
}

// lone reports a rise that has stayed without an explanation for as long as one
// could have come: the peers had their say, and no water was reported.
func (s *Step) lone(r stepReading, around Surroundings) bool {
	if s.SuspectAt == 0 {
		from := min(r.last, float64(s.Anchor))
		if r.own-from >= max(loneRise, loneNoises*r.noise, usualRise*float64(s.RiseHigh)) && !r.young && !r.silent {
			s.SuspectAt, s.SuspectFrom = second(r.atMs), float32(from)
		} else {
			return false
		}
	}
	rise := r.own - float64(s.SuspectFrom)
	waited := r.atMs - s.SuspectAt.ms()
	switch {
	case around.OthersN == 0, // no one to ask
		around.WaterMs != 0 && around.WaterMs > s.SuspectAt.ms()-explainedMs && rise <= waterRise*float64(s.RiseHigh),
		around.OthersRose >= max(riseLeast, 0.1*rise),
		rise < max(loneRise, loneNoises*r.noise)/2: // it went back
		s.SuspectAt = 0
		return false
	}
	return waited >= max(2*anchorMs, int64(2200*r.rhythmS))
}

func (s *Step) jump(r stepReading, from float64) {
	s.LeftAt, s.JumpAt = second(r.atMs), second(r.atMs)
	s.JumpFrom, s.JumpTo, s.JumpLevel = float32(from), float32(r.own), float32(r.own)
	s.JumpN = 1
	s.SuspectAt, s.RiseAt = 0, 0
	s.Landed = landedNowhere
}

// settle follows a jump: it ends as a spike if the probe comes back to where it
// was, and at a new level if it stays there and is to be believed there. A probe
// that goes on in impossible ways never settles.
func (s *Step) settle(r stepReading, around Surroundings) stepOutcome {
	tolerance := max(stepLeast, stepNoises*r.noise)
	size := abs(float64(s.JumpTo - s.JumpFrom))
	back := abs(r.own-float64(s.JumpFrom)) <= max(tolerance/2, size/4)
	if back && r.atMs-s.LeftAt.ms() <= spikeMs {
		s.Spikes++
		if s.Spikes < manySpikes {
			s.end(r)
			return stepNone
		}
	}
	if s.Landed == landedOut && r.own >= around.Wilting {
		s.Landed = landedNowhere
	}
	switch {
	case r.own > float64(s.JumpLevel)+max(loneRise, loneNoises*r.noise, usualRise*float64(s.RiseHigh)):
		// higher than water lifts it: it is on its way back, or jumps on
		s.JumpAt, s.JumpN = second(r.atMs), 0
		s.RiseAt, s.AnchorAt, s.NextAnchorAt = 0, second(r.atMs), second(r.atMs)
		s.Anchor, s.NextAnchor = float32(r.own), float32(r.own)
	case r.own < float64(s.JumpLevel)-fallPerMs*float64(r.dtMs)-tolerance && s.notDraining(r):
		s.JumpAt, s.JumpN = second(r.atMs), 0
		s.Landed = landedNowhere
	default:
		s.noteRise(r)
		if s.Landed == landedNowhere && s.answers(r, around) {
			s.Landed = landedIn
		}
	}
	s.moveAnchor(r)
	s.JumpLevel = float32(r.own)
	s.JumpN = min(s.JumpN+1, 1000)
	if r.atMs-s.JumpAt.ms() < max(settleMs, int64(4000*r.rhythmS)) || s.JumpN < settleN {
		return stepJumping
	}
	if !s.believed(r, around) {
		return stepJumping
	}
	switch {
	case s.Spikes >= spellSpikes:
		s.SteppedAt = 0 // it jumps to and fro: what it went from may be as stray as where it went
	case abs(r.own-float64(s.JumpFrom)) >= loneRise:
		s.SteppedAt, s.SteppedFrom, s.SteppedTo = s.LeftAt, s.JumpFrom, float32(r.own)
	}
	s.end(r)
	return stepSettled
}

// believed reports whether a probe that holds a new level sits in substrate there, as far
// as can be told: one that fell must have shown it.
func (s *Step) believed(r stepReading, around Surroundings) bool {
	if float64(s.JumpFrom)-r.own < loneRise || r.own-float64(s.JumpTo) >= float64(s.JumpFrom-s.JumpTo)/2 {
		return true
	}
	if r.own < around.Wilting {
		s.Landed = landedOut
	}
	return s.Landed == landedIn && r.atMs-s.RiseAt.ms() >= restMs // its peers have answered, too: it is held against them
}

// answers reports a rise with water that is known of, by its report or by the peers; where
// neither can tell, any rise like those that water makes.
func (s *Step) answers(r stepReading, around Surroundings) bool {
	if s.RiseAt == 0 || s.RiseAt != second(r.atMs) ||
		r.own-float64(s.RiseFrom) < max(2*riseLeast, answerNoises*r.noise, min(answerShare*float64(s.RiseHigh), loneRise)) {
		return false
	}
	told := around.WaterMs != 0 && r.atMs-around.WaterMs < reportsMs // of late
	return !told && around.OthersN == 0 || around.OthersRose >= riseLeast ||
		around.WaterMs != 0 && r.atMs-around.WaterMs <= explainedMs
}

// believe takes a person's word that the probe is well where it is.
func (s *Step) believe(atMs int64, own float64) {
	if s.LeftAt == 0 {
		return
	}
	s.end(stepReading{atMs: atMs, own: own})
}

func (s *Step) notDraining(r stepReading) bool {
	return s.RiseAt == 0 || r.atMs-s.RiseAt.ms() >= drainMs || r.own < float64(s.RiseFrom)-stepLeast
}

func (s *Step) end(r stepReading) {
	old := *s
	s.begin(r.atMs, r.own)
	s.Spikes, s.RiseAt, s.RiseFrom, s.RiseHigh = old.Spikes, old.RiseAt, old.RiseFrom, old.RiseHigh
	s.SteppedAt, s.SteppedFrom, s.SteppedTo = old.SteppedAt, old.SteppedFrom, old.SteppedTo
}

// moveAnchor keeps a reading between five and ten minutes old.
func (s *Step) moveAnchor(r stepReading) {
	if r.atMs-s.NextAnchorAt.ms() < anchorMs {
		return
	}
	s.AnchorAt, s.Anchor = s.NextAnchorAt, s.NextAnchor
	s.NextAnchorAt, s.NextAnchor = second(r.atMs), float32(r.own)
}
