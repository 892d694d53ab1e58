package sensing

// Still finds a probe that no longer moves. Equal readings alone prove nothing:
// a probe that shows thousandths stands still for hours in a steady pot at
// night, and one in the wet bottom of a pot may hardly ever move. So it is held
// against three things: its own longest standstill, what its peers did
// meanwhile, and whether it used to answer to water.
type Still struct {
	EqualMs     int64   // since when the reading has been the very same
	RefMs       int64   // since when it has not left the neighbourhood of Ref
	LastWaterMs int64   // the last watering that was counted
	Ref         float32 // m3/m3
	WaterRef    float32 // the reading as that watering came
	LongestS    float32 // longest standstill in health, fading, s
	OthersLow   float32 // range of the peers since RefMs
	OthersHigh  float32
	Unmoved     float32 // widest range of the peers that left it unmoved in health, fading, m3/m3
	Answers     float32 // share of waterings that it answered to
	Waterings   uint16
	Missed      uint8 // waterings in a row without an answer
	Moves       uint8 // since it was called stuck
	Stuck       bool
}

const (
	// stillBand is how far a reading may wander and count as unmoved, m3/m3: one
	// step of a probe that shows thousandths, and a little.
	stillBand = 0.0015
	// stillLeastMs is the shortest standstill that is ever suspicious, and
	// stillFirstMs that of a probe whose ways are not known yet (common practice,
	// no source).
	stillLeastMs = 6 * hourMs
	stillFirstMs = 24 * hourMs
	knownMs      = 2 * dayMs
	// othersLeast is how far the peers must move for a probe that does not to be
	// suspicious, m3/m3.
	othersLeast = 0.025
	othersFirst = 0.05
	stillFade   = 10 * float64(dayMs)
	answerMs    = 40 * minuteMs // an answer to water comes within
	wateringMs  = 20 * minuteMs // waterings closer than this count as one
	stillMoves  = 3
)

func (s *Still) begin(atMs int64, own float64) {
	s.EqualMs, s.RefMs, s.Ref = atMs, atMs, float32(own)
	s.OthersLow, s.OthersHigh = 2, -1
	s.LastWaterMs = 0
}

func (s *Still) observe(atMs int64, own, noise float64, around Surroundings) {
	unmoved := abs(own-float64(s.Ref)) <= stillBand
	if around.OthersN > 0 {
		s.OthersLow = min(s.OthersLow, float32(around.Others))
		s.OthersHigh = max(s.OthersHigh, float32(around.Others))
	}
	s.water(atMs, own, around)
	if !unmoved {
		s.moved(atMs, own)
		return
	}
	if s.Stuck {
		return
	}
	s.Stuck = s.tooLong(atMs, own) || s.leftBehind(atMs) || s.deaf()
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
		length := float32(float64(atMs-s.RefMs) / 1000)
		fade := float32(1 - min(float64(atMs-s.RefMs)/stillFade, 1))
		s.LongestS = max(s.LongestS*fade, length)
		s.Unmoved *= fade
		if s.OthersHigh >= s.OthersLow {
			s.Unmoved = max(s.Unmoved, s.OthersHigh-s.OthersLow)
		}
	}
	lastWater, waterRef := s.LastWaterMs, s.WaterRef
	s.begin(atMs, own)
	s.LastWaterMs, s.WaterRef = lastWater, waterRef
}

func (s *Still) tooLong(atMs int64, own float64) bool {
	limit := stillFirstMs
	if s.LongestS > 0 {
		limit = max(stillLeastMs, int64(3000*float64(s.LongestS)))
	}
	return atMs-s.RefMs > limit
}

// leftBehind reports that the peers moved further than they ever did without
// this probe.
func (s *Still) leftBehind(atMs int64) bool {
	if s.OthersHigh < s.OthersLow || atMs-s.RefMs < hourMs {
		return false
	}
	limit := max(float32(othersLeast), 2*s.Unmoved)
	if s.LongestS == 0 {
		limit = othersFirst
	}
	return s.OthersHigh-s.OthersLow > limit
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

// water counts waterings and answers. Only reported water is known here.
func (s *Still) water(atMs int64, own float64, around Surroundings) {
	if s.LastWaterMs != 0 && atMs-s.LastWaterMs <= answerMs {
		if own-float64(s.WaterRef) >= stillBand && s.WaterRef >= 0 {
			s.answer(1)
			s.WaterRef = -1 // answered
		}
	} else if s.LastWaterMs != 0 && s.WaterRef >= 0 {
		s.answer(0)
		s.WaterRef = -1
	}
	if around.WaterMs > s.LastWaterMs+wateringMs && atMs-around.WaterMs <= answerMs {
		if s.LastWaterMs != 0 && s.WaterRef >= 0 {
			s.answer(0)
		}
		s.LastWaterMs, s.WaterRef = around.WaterMs, float32(own)
	}
}

func (s *Still) answer(yes float32) {
	s.Waterings = min(s.Waterings+1, 1000)
	weight := max(1/float32(s.Waterings), 0.05)
	if yes == 1 {
		s.Missed = 0
	} else {
		s.Missed = min(s.Missed+1, 250)
	}
	if yes == 1 || s.Missed < 3 { // a long silence does not excuse itself
		s.Answers += weight * (yes - s.Answers)
	}
}
