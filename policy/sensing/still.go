package sensing

// Still finds a probe that no longer moves. Equal readings alone prove nothing:
// a probe that shows thousandths stands still for hours in a steady pot at
// night, and one in the wet bottom of a pot may hardly ever move. So it is held
// against three things: its own longest standstill, what its peers did
// meanwhile, and whether it used to answer to water.
type Still struct {
	RefAt      Second  // since when it has not left the neighbourhood of Ref
	WaterAt    Second  // the last watering that was counted
	BehindAt   Second  // since when the peers are out of proportion
	Ref        float32 // m3/m3
	WaterRef   float32 // the reading as that watering came
	LongestS   float32 // longest standstill in health, fading, s
	OthersLow  float32 // range of the peers since RefMs
	OthersHigh float32
	Unmoved    float32 // widest range of the peers that left it unmoved in health, fading, m3/m3
	Answers    float32 // share of waterings that it answered to
	OthersMean float32 // of the last half hour
	SameN      uint16  // how many times in a row
	SameMost   uint16  // the longest such run in health, fading
	Waterings  uint16
	High       float32 // the wettest it has been, fading, m3/m3
	Missed     uint8   // waterings in a row without an answer, unmoved meanwhile
	Moves      uint8   // since it was called stuck
	Asked      bool    // the last watering asks for an answer
	Stuck      bool
}

const (
	// stillBand is how far a reading may wander and count as unmoved, m3/m3: one
	// step of a probe that shows thousandths, and a little.
	stillBand   = 0.0015
	stillNoises = 4.5
	stillWidest = 0.006
	// stillLeastMs is the shortest standstill that is ever suspicious, and
	// stillFirstMs that of a probe whose ways are not known yet (common practice,
	// no source).
	stillLeastMs = 6 * hourMs
	stillFirstMs = 36 * hourMs
	sameLeast    = 20
	sameLeastMs  = 3 * hourMs
	knownMs      = 2 * dayMs
	// othersLeast is how far the peers must move for a probe that does not to be
	// suspicious, m3/m3.
	othersLeast = 0.025
	othersFirst = 0.05
	stillFade   = 10 * float64(dayMs)
	answerMs    = 40 * minuteMs // an answer to water comes within
	wateringMs  = 20 * minuteMs // waterings closer than this count as one
	stillMoves  = 3
	roomLeast   = 0.03 // m3/m3 below its wettest, where a shot must show
	highFadeN   = 2e5  // readings
)

func (s *Still) begin(atMs int64, own float64) {
	s.RefAt, s.Ref = second(atMs), float32(own)
	s.overlook()
	s.WaterAt = 0
}

// stillReading is a reading as Still takes it.
type stillReading struct {
	atMs, dtMs int64
	own, noise float64
	same       bool // as the one before
	quiet      bool // the probe's noise has gone
	known      bool // its ways are known
}

func (s *Still) observe(r stillReading, around Surroundings) {
	s.countSame(r.same)
	unmoved := abs(r.own-float64(s.Ref)) <= max(stillBand, min(stillNoises*r.noise, stillWidest))
	if around.OthersN > 0 {
		s.watchOthers(around.Others, r.dtMs)
	}
	s.water(r.atMs, r.own, around)
	if !unmoved {
		s.moved(r.atMs, r.own)
		return
	}
	if s.Stuck {
		return
	}
	// Where its noise goes on, a probe that stays where it is shows a container that does.
	s.Stuck = r.quiet && (s.tooLong(r.atMs, r.known) || s.leftBehind(r, around.OthersN)) || s.tooSame(r.atMs, r.known) || s.deaf()
	if s.Stuck {
		s.Moves = 0
	}
}

// moved takes a reading that left the neighbourhood: in health the standstill
// that it ends was a lawful one.
func (s *Still) moved(atMs int64, own float64) {
	if s.Stuck {
		if s.Moves++; s.Moves >= stillMoves {
			s.Stuck, s.Missed = false, 0
		}
	} else {
		length := float32(float64(atMs-s.RefAt.ms()) / 1000)
		fade := float32(1 - min(float64(atMs-s.RefAt.ms())/stillFade, 1))
		s.LongestS = max(s.LongestS*fade, length)
		s.Unmoved *= fade
		if s.OthersHigh >= s.OthersLow {
			s.Unmoved = max(s.Unmoved, s.OthersHigh-s.OthersLow)
		}
	}
	s.Missed = 0
	waterAt, waterRef := s.WaterAt, s.WaterRef
	s.begin(atMs, own)
	s.WaterAt, s.WaterRef = waterAt, waterRef
}

// watchOthers keeps the range of the peers, their noise smoothed away.
func (s *Still) watchOthers(others float64, dtMs int64) {
	if s.OthersHigh < s.OthersLow && s.OthersMean == 0 {
		s.OthersMean = float32(others)
	}
	toward(&s.OthersMean, others, float64(dtMs)/1000, hourS/2)
	s.OthersLow = min(s.OthersLow, s.OthersMean)
	s.OthersHigh = max(s.OthersHigh, s.OthersMean)
}

// overlook forgets what the peers did: one of them turned out to be ill.
func (s *Still) overlook() {
	s.OthersLow, s.OthersHigh, s.OthersMean = 2, -1, 0
	s.BehindAt = 0
}

func (s *Still) countSame(same bool) {
	if same {
		s.SameN = min(s.SameN+1, 60000)
		return
	}
	if !s.Stuck {
		s.SameMost = max(s.SameMost-s.SameMost/500, s.SameN)
	}
	s.SameN = 1
}

// tooSame reports a run of the very same reading that is out of proportion with
// the longest one before.
func (s *Still) tooSame(atMs int64, known bool) bool {
	return known && int(s.SameN) > 3*int(s.SameMost)+sameLeast && atMs-s.RefAt.ms() > sameLeastMs
}

func (s *Still) tooLong(atMs int64, known bool) bool {
	limit := stillFirstMs
	if known {
		limit = max(stillLeastMs, int64(3000*float64(s.LongestS)))
	}
	return atMs-s.RefAt.ms() > limit
}

// leftBehind reports that the peers moved further than they ever did without
// this probe. One peer alone may be the one that errs: it is given time to show
// itself.
func (s *Still) leftBehind(r stillReading, peers int) bool {
	if s.OthersHigh < s.OthersLow || r.atMs-s.RefAt.ms() < hourMs {
		s.BehindAt = 0
		return false
	}
	limit, wait := max(float32(othersLeast), 2*s.Unmoved), int64(0)
	if !r.known || peers == 1 {
		limit = max(othersFirst, limit)
	}
	if peers == 1 {
		wait = 5 * hourMs
	}
	if s.OthersHigh-s.OthersLow <= limit {
		s.BehindAt = 0
		return false
	}
	if s.BehindAt == 0 {
		s.BehindAt = second(r.atMs)
	}
	return r.atMs-s.BehindAt.ms() >= wait
}

// deaf reports that so many waterings in a row went by unanswered that a probe
// with this one's past would do so in one case of ten thousand.
func (s *Still) deaf() bool {
	if s.Waterings < 10 || s.Missed < 3 {
		return false
	}
	p := 1.0
	for range s.Missed {
		p *= 1 - min(float64(s.Answers), 0.97)
	}
	return p < 1e-4
}

// water counts waterings and answers. Only reported water is known here. A
// watering asks for an answer where the peers rose, or, with no peers, where the
// probe is well below the wettest it has been: water that runs through a full
// container moves nothing.
func (s *Still) water(atMs int64, own float64, around Surroundings) {
	s.High = max(s.High-s.High*float32(1/highFadeN), float32(own))
	if s.WaterAt != 0 && s.WaterRef >= 0 {
		s.Asked = s.Asked || around.OthersN > 0 && around.OthersRose >= riseLeast
		switch {
		case own-float64(s.WaterRef) >= stillBand:
			s.answer(1)
			s.WaterRef = -1
		case atMs-s.WaterAt.ms() > answerMs:
			s.unanswered()
		}
	}
	if around.WaterMs > s.WaterAt.ms()+wateringMs && atMs-around.WaterMs <= answerMs {
		if s.WaterAt != 0 && s.WaterRef >= 0 {
			s.unanswered()
		}
		s.WaterAt, s.WaterRef = second(around.WaterMs), float32(own)
		s.Asked = around.OthersN == 0 && own < float64(s.High)-roomLeast
	}
}

func (s *Still) unanswered() {
	if s.Asked {
		s.answer(0)
	}
	s.WaterRef = -1
}

func (s *Still) answer(yes float32) {
	s.Waterings = min(s.Waterings+1, 1000)
	if yes == 1 {
		s.Missed = 0
	} else {
		s.Missed = min(s.Missed+1, 250)
	}
	if yes == 1 || s.Missed < 3 { // a long silence does not excuse itself
		s.Answers += max(1/float32(s.Waterings), 0.05) * (yes - s.Answers)
	}
}
