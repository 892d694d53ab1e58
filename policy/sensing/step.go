package sensing

// Step finds steps in one probe's readings that no water explains.
//
// A fall is impossible if it is faster than a crop can drink and a container
// can drain. Drainage is fast only just after water came, and takes no more than
// that water: a fall may always go back to where the last rise began. A rise may
// be as fast as it likes, for water is; but water that reaches one probe of a
// zone reaches the others, or was reported.
type Step struct {
	AnchorMs     int64 // a reading some minutes old, so that a fall in small pieces is seen too
	NextAnchorMs int64
	RiseMs       int64   // when the last rise was seen
	SuspectMs    int64   // when a rise began that no one else has seen yet; 0: none
	JumpMs       int64   // when the present jump began, or last moved on; 0: none
	Anchor       float32 // m3/m3, as all below
	NextAnchor   float32
	RiseFrom     float32
	SuspectFrom  float32
	JumpFrom     float32 // where it came from
	JumpLevel    float32 // where it is now
	JumpFirstMs  int64   // when it left
	JumpN        uint16  // readings since JumpMs
	Spikes       float32 // leaking count of isolated ones
}

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
	explainedMs = 45 * minuteMs // water this long ago explains a rise
	spikeMs     = 20 * minuteMs // what is back by then was a spike
	settleMs    = 30 * minuteMs // a new level held this long is where the probe is now
	settleN     = 5
	manySpikes  = 4.0
	spikeFadeMs = 12 * hourMs
)

type stepReading struct {
	atMs, dtMs     int64
	own, last      float64
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
	*s = Step{AnchorMs: atMs, Anchor: float32(own), NextAnchorMs: atMs, NextAnchor: float32(own)}
}

func (s *Step) observe(r stepReading, around Surroundings) stepOutcome {
	s.Spikes -= s.Spikes * float32(min(float64(r.dtMs)/float64(spikeFadeMs), 1))
	if s.JumpMs != 0 {
		return s.settle(r)
	}
	tolerance := max(stepLeast, stepNoises*r.noise)
	if !r.young && s.fell(r, tolerance) {
		s.jump(r, r.last)
		return stepJumping
	}
	s.noteRise(r)
	if s.lone(r, around) {
		s.jump(r, float64(s.SuspectFrom))
		return stepJumping
	}
	s.moveAnchor(r)
	return stepNone
}

// fell reports a fall that is impossible, since the last reading or since the
// anchor.
func (s *Step) fell(r stepReading, tolerance float64) bool {
	return r.own < s.floor(r, r.last, r.dtMs)-tolerance ||
		r.own < s.floor(r, float64(s.Anchor), r.atMs-s.AnchorMs)-tolerance
}

func (s *Step) floor(r stepReading, from float64, dtMs int64) float64 {
	if s.RiseMs != 0 && r.atMs-s.RiseMs < drainMs {
		from = min(from, float64(s.RiseFrom))
	}
	return from - fallPerMs*float64(dtMs)
}

func (s *Step) noteRise(r stepReading) {
	from := min(r.last, float64(s.Anchor))
	if r.own-from < max(riseLeast, 4*r.noise) {
		return
	}
	if s.RiseMs == 0 || r.atMs-s.RiseMs > 2*anchorMs || from < float64(s.RiseFrom) {
		s.RiseFrom = float32(from)
	}
	s.RiseMs = r.atMs
}

// lone reports a rise that has stayed without an explanation for as long as one
// could have come: the peers had their say, and no water was reported.
func (s *Step) lone(r stepReading, around Surroundings) bool {
	if s.SuspectMs == 0 {
		from := min(r.last, float64(s.Anchor))
		if r.own-from >= max(loneRise, loneNoises*r.noise) && !r.young && !r.silent {
			s.SuspectMs, s.SuspectFrom = r.atMs, float32(from)
		} else {
			return false
		}
	}
	rise := r.own - float64(s.SuspectFrom)
	waited := r.atMs - s.SuspectMs
	switch {
	case around.OthersN == 0, // no one to ask
		around.WaterMs != 0 && around.WaterMs > s.SuspectMs-explainedMs,
		around.OthersRose >= max(riseLeast, 0.1*rise),
		rise < max(loneRise, loneNoises*r.noise)/2: // it went back
		s.SuspectMs = 0
		return false
	}
	return waited >= max(2*anchorMs, int64(2200*r.rhythmS))
}

func (s *Step) jump(r stepReading, from float64) {
	s.JumpMs, s.JumpFirstMs = r.atMs, r.atMs
	s.JumpFrom, s.JumpLevel = float32(from), float32(r.own)
	s.JumpN = 1
	s.SuspectMs, s.RiseMs = 0, 0
}

// settle follows a jump: it ends as a spike if the probe comes back to where it
// was, and at a new level if it stays there. A probe that keeps falling in
// impossible ways never settles.
func (s *Step) settle(r stepReading) stepOutcome {
	tolerance := max(stepLeast, stepNoises*r.noise)
	back := abs(r.own-float64(s.JumpFrom)) <= tolerance+fallPerMs*float64(r.atMs-s.JumpFirstMs)
	if back && r.atMs-s.JumpFirstMs <= spikeMs {
		s.Spikes++
		if s.Spikes < manySpikes {
			s.end(r)
			return stepNone
		}
	}
	if r.own < float64(s.JumpLevel)-fallPerMs*float64(r.dtMs)-tolerance && s.notDraining(r) {
		s.JumpMs, s.JumpN = r.atMs, 0
	}
	s.noteRise(r)
	s.moveAnchor(r)
	s.JumpLevel = float32(r.own)
	s.JumpN++
	if r.atMs-s.JumpMs < max(settleMs, int64(4000*r.rhythmS)) || s.JumpN < settleN {
		return stepJumping
	}
	s.end(r)
	return stepSettled
}

func (s *Step) notDraining(r stepReading) bool {
	return s.RiseMs == 0 || r.atMs-s.RiseMs >= drainMs || r.own < float64(s.RiseFrom)-stepLeast
}

func (s *Step) end(r stepReading) {
	spikes, riseMs, riseFrom := s.Spikes, s.RiseMs, s.RiseFrom
	s.begin(r.atMs, r.own)
	s.Spikes, s.RiseMs, s.RiseFrom = spikes, riseMs, riseFrom
}

// moveAnchor keeps a reading between five and ten minutes old.
func (s *Step) moveAnchor(r stepReading) {
	if r.atMs-s.NextAnchorMs < anchorMs {
		return
	}
	s.AnchorMs, s.Anchor = s.NextAnchorMs, s.NextAnchor
	s.NextAnchorMs, s.NextAnchor = r.atMs, float32(r.own)
}
