package diagnose

import "math"

// Share is what of a fall that was expected usually comes.
type Share struct {
	Less   float32 // than all of it, mean
	Var    float32 // of it, noise with it; 0: none was judged
	Doubt  float32 // mean variance that noise was thought to give it
	Judged uint16  // that the mean was learned from
	Spread uint16  // that the variance was learned from
}

// learn takes a share that is off, where noise is thought to have standard deviation sd.
// The spread is let grow further than the mean, so that it is that of what comes; unless it
// is not sure that all is well, and this adds to the doubt.
func (s *Share) learn(off, sd float64, sure bool) {
	spread := s.spread(sd)
	if s.Var == 0 {
		s.Var, s.Doubt = float32(spread*spread), float32(sd*sd)
	}
	s.Judged = min(s.Judged+1, 1000)
	w := math.Max(1/float64(s.Judged+shareJudged), 0.03)
	s.Less -= float32(w * math.Min(math.Max(off, -clip*spread), clip*spread))
	if !sure && off < 0 {
		return // it may be what is wrong
	}
	off = math.Min(math.Max(off, -2.5*spread), 2.5*spread)
	s.Spread = min(s.Spread+1, 1000)
	w = math.Max(1/float64(s.Spread+spreadJudged-2), 0.05)
	s.Var += float32(w * (off*off - float64(s.Var)))
	s.Doubt += float32(w * (sd*sd - float64(s.Doubt)))
}

// mean is the share.
func (s *Share) mean() float64 { return 1 - float64(s.Less) }

// spread is the standard deviation of a share to which noise is thought to give sd: what
// shares have strayed by once enough are known, and what this one is less certain than
// those were. The noise of single readings makes more of it than the water content errs by,
// on 76 simulated facilities twice as much.
func (s *Share) spread(sd float64) float64 {
	if s.Spread < spreadJudged {
		return math.Hypot(usualFall, sd)
	}
	return math.Sqrt(math.Max(float64(s.Var), sureFall*sureFall) + math.Max(sd*sd-float64(s.Doubt), 0))
}

const (
	// usualFall is how far the fall of a healthy zone strays from what its baseline
	// says, as a share. This and those below: common practice, no source.
	usualFall = 0.35
	// sureFall is the least that is left of that once it is known.
	sureFall = 0.15
	// shareJudged is how many judgements it takes to doubt that a zone falls as its
	// baseline has it: what seedlings drink is lost in the noise of that.
	shareJudged = 12
	// spreadJudged is how many make a spread of their own.
	spreadJudged = 6
)
