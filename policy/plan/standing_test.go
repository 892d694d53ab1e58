package plan

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
)

// The plan just made costs, as a standing one, what it cost when it was made.
func TestRescoreIsTheCostOfTheProposal(t *testing.T) {
	var s Scratch
	for _, r := range []*Request{pot(7000, 1300), pot(7000, 500), pot(7000, 30), drainy(), pot(12000, 4000)} {
		p := Best(r, &s)
		if got := Rescore(p.Setpoints, r, &s); math.Abs(got.Cost-p.Score.Cost) > 0.02 || got.HardLimitNear != p.Score.HardLimitNear {
			t.Errorf("%s: %+v, as a standing plan %+v", p.Action, p.Score, got)
		}
		if !Keep(Rescore(p.Setpoints, r, &s), p.Score, 0) {
			t.Error("a plan gives way to itself")
		}
	}
}

// noon moves a request into its day, with what has happened by then.
func noon(r *Request, p *Proposal, water float64) *Request {
	q, sit := *r, *r.Situation
	sit.At = r.DayStart.Add(6 * time.Hour)
	sit.UptakeML = sit.UptakeML[216:]
	sit.WaterContent = water
	q.Situation, q.Previous, q.TargetReached = &sit, p.Setpoints, true
	q.Earliest = sit.At.Add(30 * time.Minute)
	for _, shot := range p.Setpoints.Schedule {
		if shot.At.Before(sit.At) {
			q.GivenML += float64(shot.VolumeML)
			q.LastShotAt = shot.At
		}
	}
	return &q
}

// At noon the plan stays while the day goes as expected or nearly so, and gives
// way when the crop turns out to drink twice as much, or the zone is about to
// drown.
func TestWhenAPlanGivesWay(t *testing.T) {
	var s Scratch
	r := pot(7000, 1300)
	p := Best(r, &s)
	for _, c := range []struct {
		name  string
		do    func(q *Request)
		water float64
		keep  bool
	}{
		{"as expected", nil, 0.565, true},
		{"a little drier", nil, 0.55, true},
		{"a little wetter", nil, 0.58, true},
		{"thrice the thirst", func(q *Request) {
			for k := range q.Situation.UptakeML {
				q.Situation.UptakeML[k] *= 3
			}
		}, 0.52, false},
		{"drowning", func(q *Request) { q.SaturationPoint, q.Situation.Capacity, q.Situation.DrainTimeS = 0.62, 0.70, 3600 }, 0.66, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			q := noon(r, &p, c.water)
			if c.do != nil {
				q.Situation.UptakeML = append([]float64(nil), q.Situation.UptakeML...)
				c.do(q)
			}
			standing := Rescore(p.Setpoints, q, &s)
			best := Best(q, &s)
			if keep := Keep(standing, best.Score, 0); keep != c.keep {
				t.Errorf("keep %v; standing %+v, best %+v (%s)", keep, standing, best.Score, best.Action)
				show(t, &best)
			}
		})
	}
}

func TestKeep(t *testing.T) {
	for _, c := range []struct {
		name           string
		standing, best Score
		asked          int
		keep           bool
	}{
		{"the same", Score{Band: 3}, Score{Band: 3}, 0, true},
		{"an hour more", Score{Band: 3}, Score{Band: 2}, 0, true},
		{"four and a half hours more", Score{Band: 6}, Score{Band: 1.5}, 0, false},
		{"of saturation", Score{Band: 1, Saturation: 5.5}, Score{Band: 1, Saturation: 1}, 0, false},
		{"four and a half hours more, asked before", Score{Band: 6}, Score{Band: 1.5}, 1, true},
		{"nine hours more, asked before", Score{Band: 10.5}, Score{Band: 1.5}, 1, false},
		{"two hours of a bad day", Score{Band: 10}, Score{Band: 8}, 0, true},
		{"a dryback can wait for the evening", Score{Band: 1, OvernightDryback: 5}, Score{Band: 1}, 0, true},
		{"shots and change are no reason", Score{Band: 1, Shots: 4, Change: 3}, Score{Band: 1}, 0, true},
		{"near a hard limit", Score{Band: 3, HardLimitNear: true}, Score{Band: 2.4}, 0, false},
		{"near a hard limit, a little of a lost day", Score{Band: 10.6, HardLimitNear: true}, Score{Band: 9.5}, 0, true},
		{"near a hard limit either way", Score{Band: 3, HardLimitNear: true}, Score{Band: 2.4, HardLimitNear: true}, 0, true},
		{"an hour of saturation less, asked before", Score{Band: 2, Saturation: 3, HardLimitNear: true}, Score{Band: 1}, 1, false},
		{"better than the best", Score{Band: 1, HardLimitNear: true}, Score{Band: 2}, 0, true},
	} {
		if keep := Keep(c.standing, c.best, c.asked); keep != c.keep {
			t.Errorf("%s: keep %v", c.name, keep)
		}
	}
}

// Yesterday's numbers stay while they do nearly as well, and what has changed is
// said.
func TestNumbersStayFromDayToDay(t *testing.T) {
	var s Scratch
	r := pot(7000, 1300)
	first := Best(r, &s)
	again := pot(7000, 1330)
	again.Previous = first.Setpoints.Clone()
	for _, t := range []*time.Time{&again.Previous.FirstShotAt, &again.Previous.LastShotBy} {
		*t = t.Add(-24 * time.Hour)
	}
	p := Best(again, &s)
	a, b := first.Setpoints, p.Setpoints
	if a.ShotVolumeML != b.ShotVolumeML || !a.FirstShotAt.Equal(b.FirstShotAt) || !a.LastShotBy.Equal(b.LastShotBy) || a.TriggerWaterContent != b.TriggerWaterContent || !says(&p, "same-as-before") {
		t.Errorf("from %+v to %+v for 2 %% more thirst: %v", a, b, p.Reasons)
	}
	hot := pot(7000, 2600)
	hot.Previous = again.Previous
	if p := Best(hot, &s); !says(&p, "changed-volume") || says(&p, "same-as-before") {
		t.Errorf("%v", p.Reasons)
	}
}

// In recovery the numbers move little from one day to the next, but for the last shot: as roots
// come back and drink more it comes as much later as keeps the night's dryback small.
func TestRecoveryMovesLittle(t *testing.T) {
	var s Scratch
	r := pot(7000, 1300)
	first := Best(r, &s)
	hot := pot(7000, 2600)
	hot.Recovering = true
	hot.Previous = first.Setpoints
	p := Best(hot, &s)
	a, b := first.Setpoints, p.Setpoints
	if d := b.FirstShotAt.Sub(a.FirstShotAt).Abs(); d > 45*time.Minute {
		t.Errorf("the first shot moves by %v", d)
	}
	if d := a.LastShotBy.Sub(b.LastShotBy); d > 45*time.Minute {
		t.Errorf("the last shot comes earlier by %v", d)
	}
	if wanted := recoveryDryback * hot.Band.OvernightDryback; p.Expected.OvernightDryback > 1.25*wanted {
		t.Errorf("the night dries back by %.3f; wanted is %.3f", p.Expected.OvernightDryback, wanted)
	}
	if x := float64(b.ShotVolumeML) / float64(a.ShotVolumeML); x > 1.3+1e-9 {
		t.Errorf("a shot grows %.2f times", x)
	}
	if p.Action != advice.Irrigate {
		t.Error(p.Action)
	}
}

// Searching makes no garbage; a proposal costs only what it says.
func TestSearchMakesNoGarbage(t *testing.T) {
	var s Scratch
	r := pot(7000, 1300)
	Best(r, &s)
	if n := testing.AllocsPerRun(5, func() {
		s.begin(r)
		s.search()
	}); n > 0 {
		t.Errorf("%v allocations a search", n)
	}
}

// Shots that the plan in force still gives before a person has decided on the next are
// water that the next need not give again, and that the day's limit counts.
func TestCommittedShotsOfTheRunningDay(t *testing.T) {
	var s Scratch
	r := pot(7000, 1300)
	p := Best(r, &s)
	plain := noon(r, &p, 0.54)
	plain.Earliest = plain.Situation.At.Add(2 * time.Hour)
	due := *plain
	due.Committed = []forecast.Shot{{Step: 2, VolumeML: 150}, {Step: 10, VolumeML: 150}}
	due.GivenML += 300
	without, with := Best(plain, &s), Best(&due, &s)
	if less := without.Setpoints.ScheduledML() - with.Setpoints.ScheduledML(); less < 200 {
		t.Errorf("300 mL are on their way: %d mL planned, %d mL without them", with.Setpoints.ScheduledML(), without.Setpoints.ScheduledML())
	}
	if err := takesNoProbe(&due, &with); err != nil {
		t.Error(err)
	}
	if with.Setpoints.FirstShotAt.Before(due.Earliest) {
		t.Errorf("first shot at %s, decided by %s", with.Setpoints.FirstShotAt, due.Earliest)
	}
}
