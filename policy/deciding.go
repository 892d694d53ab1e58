package policy

import "time"

const (
	// leastDecideTime is what a person is given at least to decide in on a plan for the
	// running day, and mostDecideTime at most: later the day is over before it is changed.
	leastDecideTime = 20 * time.Minute
	mostDecideTime  = 2 * time.Hour
	// unhurried is how many times as long as they have taken people are given (common
	// practice, no source).
	unhurried = 1.25
)

// deciding is how long people take to decide on a plan for the running day.
type deciding struct {
	TakesS float32 // mean of late, s; 0: nobody has decided on one yet
}

// took takes an advice for the running day that was decided on after so long, or
// expired then: who was given too little is taken to need twice as long.
func (d *deciding) took(after time.Duration, expired bool) {
	s := float32(after.Seconds())
	if expired {
		s *= 2
	}
	s = min(s, float32(mostDecideTime.Seconds()))
	if d.TakesS == 0 || expired {
		d.TakesS = max(d.TakesS, s)
		return
	}
	d.TakesS += (s - d.TakesS) / 3
}

// time is what a person is given.
func (d *deciding) time() time.Duration {
	takes := time.Duration(unhurried * float64(d.TakesS) * float64(time.Second))
	return min(max(takes, leastDecideTime), mostDecideTime).Truncate(time.Minute)
}
