package policy

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// A zone in trouble that is stopped and restored every few hours goes on as one that never
// stopped: with a probe stuck at a coarse step, a container that gets no water, probes that are
// away, roots disturbed and a probe moved, each of which leaves something to be remembered.
func TestRestartsInTrouble(t *testing.T) {
	s := bench()
	s.Probes = []Probe{{ID: "p1", HeightCM: 7}, {ID: "p2", HeightCM: 7}, {ID: "p3", HeightCM: 7}}
	record := func(every time.Duration) (b bytes.Buffer, asked, over int) {
		z, err := New(s)
		if err != nil {
			t.Fatal(err)
		}
		_, table := potOf(t, &s, 0.97)
		var pots [3]*pot
		for k := range pots {
			pots[k], _ = potOf(t, &s, 0.97)
		}
		var step func(e Event)
		step = func(e Event) {
			out := z.Step(e)
			line, err := json.Marshal(out)
			if err != nil {
				t.Fatal(err)
			}
			b.WriteString(e.At.Format(time.RFC3339))
			b.Write(line)
			b.WriteByte('\n')
			if out.Over != "" {
				over++
			}
			if out.Advice != nil && out.Advice.Setpoints == nil {
				asked++
			} else if out.Advice != nil {
				step(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: out.Advice.ID, State: StatePending}})
				step(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: out.Advice.ID, State: StateApproved}})
			}
		}
		var stuck float64
		for i := range 12 * 24 * 12 {
			at := monday.Add(time.Duration(i) * 5 * time.Minute)
			day, hour := i/288, float64(i%288)/12
			if every > 0 && i > 0 && at.Sub(monday)%every == 0 {
				if z, err = Restore(s, z.Snapshot()); err != nil {
					t.Fatal(err)
				}
			}
			for k := range pots {
				pots[k].step(at, 5)
				pots[k].ml = max(pots[k].ml, 0.2*pots[k].volume) // its plant takes no more
				if k == 1 && day >= 5 && day < 9 {
					continue // its emitter is blocked
				}
				if hour >= 8 && hour < 19 && i%18 == 0 {
					pots[k].ml += 250
				}
			}
			switch {
			case i == 288*8+120:
				step(Event{Kind: Operator, At: at, Operator: &OperatorEvent{Kind: RootsDisturbed, By: "ann"}})
			case i == 288*10+120:
				step(Event{Kind: Operator, At: at, Operator: &OperatorEvent{Kind: ProbeMoved, By: "ann", Probe: "p3", HeightCM: 12}})
			}
			if hour >= 8 && hour < 19 && i%18 == 0 {
				e := Event{Kind: Reading, At: at, Stamp: at, Source: ZoneWide}
				e.Values.Set(sensing.IrrigationVolume, 250)
				step(e)
			}
			for k := range pots {
				level := math.Floor(table.Reading(pots[k].ml/pots[k].volume)/0.005) * 0.005
				if k == 0 && day >= 4 && day < 7 {
					level = stuck
				} else if k == 0 {
					stuck = level
				}
				if k == 2 {
					level += 0.001 * math.Sin(float64(7*i))
				}
				if day == 7 && i%40 < 20 {
					continue // out of reach now and then
				}
				e := Event{Kind: Reading, At: at, Stamp: at, Source: k}
				e.Values.Set(sensing.WaterContent, math.Round(1000*level)/1000)
				step(e)
			}
			step(Event{Kind: Wake, At: at})
		}
		return b, asked, over
	}
	never, asked, over := record(0)
	t.Logf("asked to look %d times, %d of them over early", asked, over)
	if asked == 0 || over == 0 {
		t.Errorf("asked to look %d times, %d of them over early; the test wants some", asked, over)
	}
	often, _, _ := record(7 * time.Hour)
	a, b := bytes.Split(never.Bytes(), []byte("\n")), bytes.Split(often.Bytes(), []byte("\n"))
	for i := range min(len(a), len(b)) {
		if !bytes.Equal(a[i], b[i]) {
			t.Fatalf("line %d differs:\n%s\n%s", i, a[i], b[i])
		}
	}
	if len(a) != len(b) {
		t.Errorf("%d outputs, and %d with restarts", len(a), len(b))
	}
}
