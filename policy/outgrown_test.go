package policy

import (
	"math"
	"strings"
	"testing"
	"time"

	"rhizostat/policy/diagnose"
)

// What an outgrown container is said to be drunk dry by is the uptake between the two times
// that the sentence names.
func TestWhatIsDrunkBetweenTheTimesThatAreSaid(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	play(t, z, monday, 6, nil, func(time.Time, Output) {})
	day := z.today.day
	all, dry := 0.0, 0.0
	var steps [288]float64 // of five minutes
	z.m.Learned.UptakeSteps(&z.ground.constants, z.today.fromMs, 5*60*1000, steps[:])
	for i, ml := range steps {
		all += ml
		if when := day.Start.Add(time.Duration(i) * 5 * time.Minute); !when.Before(day.DaytimeEnd) {
			dry += ml
		}
	}
	share := z.dryShare(z.m.NowMs)
	if math.Abs(share-dry/all) > 0.01 || share == 0 {
		t.Errorf("%.3f of a day's uptake falls in the time without water, want %.3f", share, dry/all)
	}
	said := diagnose.SayOutgrown(diagnose.Outgrown{UptakeML: 1000, LimitML: 300 / share}, 300, day.DaytimeEnd, day.Next, z.settings.Location).Text
	for _, when := range []time.Time{day.DaytimeEnd, day.Next} {
		if clock := when.In(z.settings.Location).Format("15:04"); !strings.Contains(said, clock) {
			t.Errorf("%q does not say %s", said, clock)
		}
	}
}
