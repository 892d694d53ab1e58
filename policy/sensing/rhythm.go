package sensing

// Rhythm is how often a probe reports, learned from the probe itself.
type Rhythm struct {
	UsualS float32 // its usual interval, s; 0: not known yet
	LongS  float32 // the interval that one in twenty exceeds, s
}

const (
	// unknownSilenceMs is the silence that makes a probe stale before its rhythm
	// is known, shortestSilenceMs that which a fast one is always allowed, and
	// longestSilenceMs what no rhythm excuses (common practice, no source).
	unknownSilenceMs  = 45 * minuteMs
	shortestSilenceMs = 6 * minuteMs
	longestSilenceMs  = 6 * hourMs
	rhythmGain        = 0.1
)

// Learn takes an interval between readings. Each moves the estimates by at most
// a tenth, whatever its length, so that an outage teaches nothing.
func (r *Rhythm) Learn(dtMs int64) {
	s := float32(float64(dtMs) / 1000)
	if r.UsualS == 0 {
		if dtMs < longestSilenceMs {
			r.UsualS, r.LongS = s, s*1.5
		}
		return
	}
	r.UsualS += rhythmGain * (min(max(s, r.UsualS/2), r.UsualS*2) - r.UsualS)
	if s > r.LongS {
		r.LongS *= 1 + 0.95*rhythmGain
	} else {
		r.LongS *= 1 - 0.05*rhythmGain
	}
	r.LongS = max(r.LongS, r.UsualS)
}

// late reports whether a silence is longer than the rhythm explains.
func (r *Rhythm) late(silenceMs int64) bool { return silenceMs > r.silenceMs() }

func (r *Rhythm) silenceMs() int64 {
	if r.UsualS == 0 {
		return unknownSilenceMs
	}
	usual := int64(1000 * max(3.5*float64(r.UsualS), 2*float64(r.LongS)))
	return min(max(usual, shortestSilenceMs), longestSilenceMs)
}
