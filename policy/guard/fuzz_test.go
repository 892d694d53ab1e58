package guard

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"rhizostat/policy/advice"

	"pgregory.net/rapid"
)

// broken says what an advice that passed still breaks, "" nothing. It is written
// from the site's point of view and shares no code with the rules.
func broken(in *Input, v *Verdict) string {
	if v.Action == advice.Inspect {
		if v.Setpoints != nil {
			return "an inspect with setpoints"
		}
		return ""
	}
	sp := v.Setpoints
	switch {
	case sp == nil:
		return "no setpoints"
	case !in.Quorum:
		return "below quorum"
	case in.DataAge > in.MaxDataAge && in.MaxDataAge > 0:
		return "stale data"
	case !(in.WaterContent > 0 && in.WaterContent <= in.TotalPorosity):
		return "an impossible water content"
	case !(sp.TriggerWaterContent > 0 && sp.TriggerWaterContent <= in.FullPoint+1e-9):
		return fmt.Sprintf("trigger %v", sp.TriggerWaterContent)
	}
	if !in.WindowEnd.After(in.Now) {
		return "a day that is over"
	}
	for _, p := range sp.TriggerByProbe {
		if !(p.WaterContent <= in.TotalPorosity) {
			return fmt.Sprintf("the trigger %v of a probe", p.WaterContent)
		}
	}
	if v.Action == advice.Withhold {
		if sp.MaxVolumeML != 0 || len(sp.Schedule) != 0 || sp.ShotVolumeML != 0 {
			return "a withhold with water"
		}
		return ""
	}
	leach := v.Action == advice.Leach
	drain := in.BandDrain
	if leach {
		drain = math.Max(drain, 0.5)
	}
	room := math.Max(0, in.Capacity-in.WaterContent) * in.VolumeML
	switch {
	case float64(sp.ShotVolumeML) > in.MaxShotML+1e-6, sp.ShotVolumeML < 1:
		return fmt.Sprintf("shot %d mL of at most %v", sp.ShotVolumeML, in.MaxShotML)
	case float64(sp.ShotVolumeML) > math.Max(0.1*in.VolumeML, 20*in.FlowMLPerS)+1e-6:
		return fmt.Sprintf("shot %d mL into %v mL", sp.ShotVolumeML, in.VolumeML)
	case in.SaturationPoint > 0 && in.WaterContent > in.SaturationPoint && !in.Now.Before(in.WindowStart):
		return "water on roots without air"
	case float64(sp.MaxVolumeML) > in.MaxDailyML+1e-6:
		return fmt.Sprintf("day %d mL of at most %v", sp.MaxVolumeML, in.MaxDailyML)
	case float64(sp.MaxVolumeML)-in.GivenML > (room+in.MostUptakeML)/(1-math.Min(0.9, drain+0.15))+float64(sp.ShotVolumeML)+1:
		return fmt.Sprintf("day %d mL with room for %v and uptake %v", sp.MaxVolumeML, room, in.MostUptakeML)
	case float64(sp.MinIntervalS) < in.MinIntervalMin*60-1e-6 && in.MinIntervalMin < 1e6:
		return fmt.Sprintf("interval %d s", sp.MinIntervalS)
	case sp.FirstShotAt.Before(in.WindowStart) || sp.FirstShotAt.Before(in.Earliest) || sp.FirstShotAt.Before(in.Now) || !sp.LastShotBy.Before(in.WindowEnd):
		return fmt.Sprintf("window %v to %v", sp.FirstShotAt, sp.LastShotBy)
	case !(sp.TargetWaterContent <= math.Min(in.FullPoint, in.Capacity)+1e-9) || sp.TriggerWaterContent >= sp.TargetWaterContent:
		return fmt.Sprintf("trigger %v, target %v", sp.TriggerWaterContent, sp.TargetWaterContent)
	case !leach && sp.DrainFraction > in.BandDrain+0.01+1e-9:
		return fmt.Sprintf("drain %v", sp.DrainFraction)
	case leach && !(in.PoreKnown && in.FeedKnown && in.PoreEC <= 20 && in.FeedEC <= 20 && (!in.Recovering || in.PoreEC >= 2.66*in.FeedEC)): // salt that roots cannot recover in
		return "leaching on an EC that cannot be"
	case in.FlowMLPerS > 0 && float64(sp.RunTimeS)*in.FlowMLPerS > float64(sp.ShotVolumeML)+in.FlowMLPerS:
		return fmt.Sprintf("run time %d s for %d mL", sp.RunTimeS, sp.ShotVolumeML)
	}
	sum := in.GivenML
	last := in.LastShotAt
	for _, shot := range sp.Schedule {
		if sum += float64(shot.VolumeML); sum > in.MaxDailyML+1e-6 {
			return fmt.Sprintf("schedule of %v mL", sum)
		}
		if float64(shot.VolumeML) > in.MaxShotML {
			return fmt.Sprintf("a scheduled shot of %d mL", shot.VolumeML)
		}
		if shot.At.Before(sp.FirstShotAt) || shot.At.After(sp.LastShotBy) || !last.IsZero() && shot.At.Sub(last).Minutes() < in.MinIntervalMin-1e-6 {
			return fmt.Sprintf("a shot at %v after one at %v", shot.At, last)
		}
		last = shot.At
	}
	return ""
}

// raised says what the guard made more of, "" nothing.
func raised(before, after *advice.Setpoints) string {
	if before == nil || after == nil {
		return ""
	}
	switch {
	case after.ShotVolumeML > before.ShotVolumeML, after.MaxVolumeML > before.MaxVolumeML, after.RunTimeS > before.RunTimeS,
		after.ScheduledML() > before.ScheduledML(), len(after.Schedule) > len(before.Schedule):
		return "a volume"
	case after.TriggerWaterContent > before.TriggerWaterContent, after.TargetWaterContent > before.TargetWaterContent, after.DrainFraction > before.DrainFraction:
		return "a trigger, target or drain"
	case after.ShotVolumeML > 0 && (after.MinIntervalS < before.MinIntervalS || after.FirstShotAt.Before(before.FirstShotAt) || after.LastShotBy.After(before.LastShotBy)):
		return "the time for shots"
	}
	for i, p := range after.TriggerByProbe {
		if p.WaterContent > before.TriggerByProbe[i].WaterContent {
			return "the trigger of a probe"
		}
	}
	return ""
}

func holds(in Input, a advice.Action, sp *advice.Setpoints) error {
	before := sp.Clone()
	v := Apply(in, a, sp)
	if !equal(before, sp) {
		return fmt.Errorf("the guard changed what it was given: %+v to %+v", before, sp)
	}
	if v.Stopped != (v.Action == advice.Inspect && a != advice.Inspect) {
		return fmt.Errorf("stopped %v with %s", v.Stopped, v.Action)
	}
	if what := broken(&in, &v); what != "" {
		return fmt.Errorf("%s got through: %+v", what, v.Setpoints)
	}
	if what := raised(before, v.Setpoints); what != "" {
		return fmt.Errorf("the guard raised %s: %+v to %+v", what, before, v.Setpoints)
	}
	if a == advice.Withhold && (v.Action == advice.Irrigate || v.Action == advice.Leach) || a == advice.Irrigate && v.Action == advice.Leach {
		return fmt.Errorf("%s became %s", a, v.Action)
	}
	if changed := v.Action != a || a != advice.Inspect && !equal(v.Setpoints, before); changed && len(v.Reasons) == 0 {
		return fmt.Errorf("changed without a word: %+v to %+v", before, v.Setpoints)
	}
	again := Apply(in, v.Action, v.Setpoints)
	if again.Action != v.Action || !equal(again.Setpoints, v.Setpoints) || len(again.Reasons) != 0 {
		return fmt.Errorf("twice is not once: %+v %+v, then %+v %+v", v, v.Setpoints, again, again.Setpoints)
	}
	return nil
}

// equal compares setpoints, NaN being itself and no list being an empty one.
func equal(a, b *advice.Setpoints) bool {
	if a == nil || b == nil {
		return a == b
	}
	if len(a.Schedule) != len(b.Schedule) || len(a.TriggerByProbe) != len(b.TriggerByProbe) {
		return false
	}
	bits := func(s *advice.Setpoints) [3]uint64 {
		return [3]uint64{math.Float64bits(s.TriggerWaterContent), math.Float64bits(s.TargetWaterContent), math.Float64bits(s.DrainFraction)}
	}
	if bits(a) != bits(b) {
		return false
	}
	for i := range a.TriggerByProbe {
		if a.TriggerByProbe[i].Probe != b.TriggerByProbe[i].Probe || math.Float64bits(a.TriggerByProbe[i].WaterContent) != math.Float64bits(b.TriggerByProbe[i].WaterContent) {
			return false
		}
	}
	x, y := *a, *b
	for _, s := range []*advice.Setpoints{&x, &y} {
		s.TriggerWaterContent, s.TargetWaterContent, s.DrainFraction, s.TriggerByProbe = 0, 0, 0, nil
		if len(s.Schedule) == 0 {
			s.Schedule = nil
		}
	}
	return reflect.DeepEqual(x, y)
}

// drawer draws numbers: from rapid, or from the bytes of the fuzzer.
type drawer interface {
	number(name string, low, high float64) float64
	whole(name string, low, high int) int
}

// drawCase draws a plan that may be anything against a site that may be. Most are
// near enough to sound to come through to the last rules; one number in a while
// is far off.
func drawCase(d drawer) (Input, advice.Action, *advice.Setpoints) {
	in := sound()
	minutes := func(name string, low, high int) time.Duration {
		return time.Duration(d.whole(name, low, high)) * time.Minute
	}
	odd := func(name string) bool { return d.whole(name+" is odd", 0, 29) == 17 }
	number := func(name string, low, high, least, most float64) float64 {
		if odd(name) {
			return d.number(name, least, most)
		}
		return d.number(name, low, high)
	}
	in.Now = dayStart.Add(minutes("now", -1000, 900))
	in.WindowEnd = dayStart.Add(minutes("end", 1000, 1500))
	if odd("now") {
		in.Now = in.WindowEnd.Add(minutes("late", 0, 100))
	}
	if d.whole("lead", 0, 1) == 1 {
		in.Earliest = in.Now.Add(time.Duration(d.whole("earliest", 0, 8000)) * time.Second)
	}
	in.MaxShotML = number("max shot", 20, 500, 0, 2)
	in.MaxDailyML = number("max daily", 500, 5000, 0, 200)
	in.MinIntervalMin = d.number("interval", 0, 90)
	in.VolumeML, in.Capacity = number("volume", 1000, 30000, 50, 1000), number("capacity", 0.4, 0.85, 0.01, 0.4)
	in.FullPoint = number("full", 0.4, 0.85, 0.001, 0.4)
	in.SaturationPoint = number("saturation", 0.6, 0.9, 0, 0.4)
	in.MostUptakeML, in.GivenML = d.number("uptake", 0, 3000), number("given", 0, 300, 0, 3000)
	if in.FlowMLPerS = d.number("flow", -1, 8); in.FlowMLPerS < 0.01 {
		in.FlowMLPerS = 0
	}
	in.WaterContent, in.Quorum = number("water", 0.3, 0.7, -0.1, 1), !odd("quorum")
	in.DataAge = time.Duration(number("age", 0, 59, -70, 200) * float64(time.Minute))
	in.PoreEC, in.PoreKnown, in.Recovering = number("pore ec", 2.3, 6, -1, 40), !odd("pore known"), odd("recovering")
	if d.whole("shot before", 0, 1) == 1 {
		in.LastShotAt = in.Now.Add(-minutes("last shot", 0, 100))
	}
	sp := &advice.Setpoints{
		FirstShotAt: dayStart.Add(minutes("first", -100, 600)), TriggerWaterContent: number("trigger", 0.3, 0.8, -0.1, 1.2), TargetWaterContent: number("target", 0.3, 0.8, -0.1, 1.2),
		ShotVolumeML: d.whole("shot", 1, 800), RunTimeS: d.whole("run", 0, 2000), MinIntervalS: d.whole("min interval", 0, 6000), MaxVolumeML: d.whole("max", 0, 9000), DrainFraction: number("drain", 0, 0.6, -0.1, 1.1),
		TriggerByProbe: []advice.ProbeTrigger{{Probe: "p1", WaterContent: d.number("probe", 0, 1.5)}},
	}
	if odd("shot") {
		sp.ShotVolumeML = d.whole("bad shot", -1, 0)
	}
	sp.LastShotBy = sp.FirstShotAt.Add(minutes("last", 0, 1600))
	at := sp.FirstShotAt.Add(minutes("schedule", -100, 100))
	for range d.whole("shots", 0, 40) {
		sp.Schedule = append(sp.Schedule, advice.Shot{At: at, VolumeML: d.whole("ml", 1, 600), RunTimeS: d.whole("s", 0, 2000)})
		at = at.Add(time.Duration(d.whole("gap", 0, 6000)) * time.Second)
	}
	actions := [...]advice.Action{advice.Irrigate, advice.Irrigate, advice.Irrigate, advice.Leach, advice.Leach, advice.Withhold, advice.Inspect, "none"}
	return in, actions[d.whole("action", 0, len(actions)-1)], sp
}

type fromRapid struct{ *rapid.T }

func (r fromRapid) number(name string, low, high float64) float64 {
	return rapid.Float64Range(low, high).Draw(r.T, name)
}
func (r fromRapid) whole(name string, low, high int) int {
	return rapid.IntRange(low, high).Draw(r.T, name)
}

// What passes the guard breaks no limit of the site; it never raises a number,
// changes nothing without a word, and doing it twice is doing it once.
func TestGuardHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, a, sp := drawCase(fromRapid{t})
		if err := holds(in, a, sp); err != nil {
			t.Fatal(err)
		}
	})
}

// fromBytes draws from the fuzzer's bytes; some numbers are raw bits, so that
// NaN, infinities and the smallest numbers come up.
type fromBytes struct{ data []byte }

func (f *fromBytes) next() uint64 {
	var b [8]byte
	n := copy(b[:], f.data)
	f.data = f.data[n:]
	return binary.LittleEndian.Uint64(b[:])
}
func (f *fromBytes) number(_ string, low, high float64) float64 {
	x := f.next()
	if x>>56 == 0xff {
		return math.Float64frombits(x << 8)
	}
	return low + (high-low)*float64(x>>11)/(1<<53)
}
func (f *fromBytes) whole(_ string, low, high int) int {
	return low + int(f.next()%uint64(high-low+1))
}

// Enough of the drawn cases come through to the last rules for the property to
// mean something.
func TestDrawnCasesReachTheLastRules(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	outcome := map[advice.Action]int{}
	codes := map[string]int{}
	for range 2000 {
		data := make([]byte, 1600)
		for i := range data {
			data[i] = byte(rng.Uint32())
		}
		in, a, sp := drawCase(&fromBytes{data})
		if err := holds(in, a, sp); err != nil {
			t.Fatal(err)
		}
		if a != advice.Irrigate && a != advice.Leach {
			continue
		}
		v := Apply(in, a, sp)
		outcome[v.Action]++
		for _, r := range v.Reasons {
			codes[r.Code]++
		}
	}
	if outcome[advice.Irrigate] < 200 || outcome[advice.Leach] < 50 {
		t.Errorf("too few plans come through: %v", outcome)
	}
	for _, e := range advice.Catalogue() {
		if e.Kind == advice.KindGuard && codes[e.Code] == 0 && e.Code != "guard-withhold" && e.Code != "guard-settings" {
			t.Errorf("%s is never said", e.Code)
		}
	}
	t.Log(outcome, codes)
}

func FuzzApply(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte("a plan that nobody would make, but that a broken planner could"))
	f.Add(binary.LittleEndian.AppendUint64(nil, 0xff7ff80000000000))
	f.Fuzz(func(t *testing.T, data []byte) {
		in, a, sp := drawCase(&fromBytes{data})
		if err := holds(in, a, sp); err != nil {
			t.Fatal(err)
		}
	})
}

func BenchmarkApply(b *testing.B) {
	in, sp := sound(), plan()
	b.ReportAllocs()
	for b.Loop() {
		Apply(in, advice.Irrigate, sp)
	}
}
