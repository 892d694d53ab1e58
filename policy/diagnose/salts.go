package diagnose

// saltDays is how many days pore EC is held against: salt builds up over a week or so
// where too little drains (common practice, no source).
const saltDays = 9

// usualSaltRise and usualSaltSpread are what salt does in ten days by itself, ln: no zone's
// own baseline, since one whose salt has been building up for weeks would call that usual
// (common practice, no source: it wanders by a quarter).
const (
	usualSaltRise   = 0.2
	usualSaltSpread = 0.15
	// leastSaltRise is the rise below which nothing builds up any more.
	leastSaltRise = 0.3
)

// Salts are the salt of the last days: ln of mean pore EC, and of the salt index for
// days on which that is not known. 0: not known.
type Salts struct {
	PoreEC [saltDays]float32
	Index  [saltDays]float32
	Next   uint16 // where the next day goes
}

// day takes a finished day and makes its rise: over the least of the days before, where
// four of them are known.
func (s *Salts) day(f *Features) {
	rise := func(k Feature, days *[saltDays]float32) {
		least, n := f.Value[k], 0
		for _, v := range days {
			if v != 0 {
				least = min(least, v)
				n++
			}
		}
		if f.Known[k] && n >= 4 && !f.Known[SaltRise] {
			f.set(SaltRise, float64(f.Value[k]-least), 0.03)
		}
		days[s.Next] = f.Value[k] // 0 where it is not known
	}
	rise(PoreEC, &s.PoreEC)
	rise(Salt, &s.Index)
	s.Next = (s.Next + 1) % saltDays
}
