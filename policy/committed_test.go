package policy

import (
	"testing"
	"time"
)

// While people decide on a new plan for the running day, the controller follows the one
// in force: its shots until then are water that the new one must count, or the zone is
// rewetted twice.
func TestAReplacementCountsTheShotsOfThePlanInForce(t *testing.T) {
	if testing.Short() {
		t.Skip("plays a season")
	}
	y, err := stage(drawSeason(tuningSeeds+2, 3, 6))
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for range 6 * 24 * 60 {
		y.minute(nil)
		for _, p := range y.players {
			z, at := p.engine, y.f.Now().UnixMilli()
			q := z.inForce(at)
			if y.f.Now().Minute() != 0 || q == nil || len(q.Advice.Setpoints.Schedule) == 0 || z.today.day.Start.IsZero() {
				continue
			}
			r := z.request(at, z.today.day)
			due := 0.0
			for _, shot := range z.coming(at, int(r.Earliest.Sub(y.f.Now())/(5*time.Minute))) {
				due += shot.VolumeML
			}
			given := z.m.Learned.GivenBetween(&z.ground.constants, z.today.day.Start.UnixMilli(), at)
			if r.GivenML < given+due-1e-6 {
				t.Fatalf("%s zone %d: %.0f mL given and %.0f mL due before %s; the request counts %.0f mL", y.f.Now().Format("01-02 15:04"), p.index, given, due, r.Earliest.Format("15:04"), r.GivenML)
			}
			if due > 0 {
				seen++
			}
		}
	}
	if seen < 10 {
		t.Errorf("%d hours in which shots were due; expected 10 at least", seen)
	}
}
