package diagnose

import "math"

// Share is what of a fall that was expected usually comes.
type Share struct {
	Less   float32 // than all of it, mean
	Var    float32 // of it, beside noise; 0: usualFall squared
	Judged uint16
}

// learn takes a share that is off, where noise has standard deviation sd.
func (s *Share) learn(off, sd float64) {
	spread := math.Hypot(s.spread(), sd)
	s.Judged = min(s.Judged+1, 1000)
	w := math.Max(1/float64(s.Judged+shareJudged), 0.03)
	off = math.Min(math.Max(off, -clip*spread), clip*spread)
	s.Less -= float32(w * off)
	v := s.spread() * s.spread()
	s.Var = float32(math.Max(v+w*(off*off-sd*sd-v), sureFall*sureFall))
}

// mean is the share.
func (s *Share) mean() float64 { return 1 - float64(s.Less) }

// spread is its standard deviation.
func (s *Share) spread() float64 {
	if s.Var == 0 {
		return usualFall
	}
	return math.Sqrt(float64(s.Var))
}

const (
	// usualFall is how far the fall of a healthy zone strays from what its baseline
	// says, as a share. This and the two below: common practice, no source.
	usualFall = 0.35
	// sureFall is the least that is left of that once it is known.
	sureFall = 0.15
	// shareJudged is how many judgements it takes to doubt that a zone falls as its
	// baseline has it: what seedlings drink is lost in the noise of that.
	shareJudged = 12
)
