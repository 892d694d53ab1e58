package policy

import "time"

const (
	// leastDecideTime is what a person is given at least to decide in on a plan for the
	// running day, and mostDecideTime at most: later the day is over before it is changed.
	leastDecideTime = 20 * time.Minute
	mostDecideTime  = 2 * time.Hour
	// calmDecideTime is the least where the plan in force goes on meanwhile: people who are
	// at work among their crop look at a screen once an hour or so (common practice, no source).
	calmDecideTime = time.Hour
	// unhurried is how many times as long as they have taken people are given (common
	// practice, no source).
	unhurried = 1.25
)

// unheardMost is how many advices in a row may expire undecided until a zone's people are
// asked once a day only: two days or so (common practice, no source).
const unheardMost = 4

// deciding is how people decide.
type deciding struct {
	TakesS  float32 // how long they take on a plan for the running day, mean of late, s; 0: nobody has decided on one yet
	Unheard int32   // advices in a row on which nobody decided
}

// heard takes what became of an advice that waited for a person.
func (d *deciding) heard(state ApprovalState) {
	switch state {
	case StateExpired:
		d.Unheard = min(d.Unheard+1, unheardMost)
	case StateApproved, StateRejected, StateWithdrawn:
		d.Unheard = 0
	}
}

// nobody tells whether nobody decides here at present: the evening's advice goes on being
// issued, but one that expired is not asked anew on its day.
func (d *deciding) nobody() bool { return d.Unheard >= unheardMost }

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
