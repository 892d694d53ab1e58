package policy

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"rhizostat/policy/simulator"
)

// troubleKind is a fault of the simulator with the causes that name it rightly,
// and how soon it should be named once the truth is visible in the data.
type troubleKind struct {
	name   string
	kind   simulator.FaultKind
	causes []string
	within time.Duration
	onset  [2]time.Duration // drawn between
	severe [2]float64
	one    bool // hits the first probe's container or the first probe only
	probes int  // needed
	ec     bool // needs a probe that tells EC
}

const aDay = 24 * time.Hour

var troubleKinds = []troubleKind{
	{name: "emitters of a zone clog", kind: simulator.EmitterBlocked, causes: []string{"emitter-fault"}, within: aDay, severe: [2]float64{0.5, 0.85}},
	{name: "the emitter of a probed pot clogs", kind: simulator.EmitterBlocked, causes: []string{"emitter-fault"}, within: aDay, severe: [2]float64{0.7, 1}, one: true, probes: 2},
	{name: "the valve sticks open", kind: simulator.ValveStuckOpen, causes: []string{"valve-stuck-open"}, within: aDay, severe: [2]float64{0.1, 0.3}},
	{name: "the valve sticks closed", kind: simulator.ValveStuckClosed, causes: []string{"valve-stuck-closed"}, within: aDay, severe: [2]float64{1, 1}},
	{name: "a probe freezes", kind: simulator.SensorStuck, causes: []string{"sensor-fault"}, within: aDay, severe: [2]float64{1, 1}, one: true, probes: 2},
	{name: "a probe jumps about", kind: simulator.SensorJump, causes: []string{"sensor-fault"}, within: aDay, severe: [2]float64{0.2, 0.6}, one: true, probes: 2},
	{name: "a probe drifts", kind: simulator.SensorDrift, causes: []string{"sensor-fault"}, within: aDay, onset: [2]time.Duration{2 * aDay, 5 * aDay}, severe: [2]float64{0.6, 1}, one: true, probes: 2},
	{name: "a can of water", kind: simulator.UnreportedWatering, causes: []string{"unreported-watering"}, within: aDay, severe: [2]float64{1, 1}},
	{name: "compaction", kind: simulator.Compaction, causes: []string{"compaction"}, within: 3 * aDay, onset: [2]time.Duration{aDay, 3 * aDay}, severe: [2]float64{0.7, 1}},
	{name: "roots fill the pot", kind: simulator.RootBound, causes: []string{"root-bound"}, within: 3 * aDay, onset: [2]time.Duration{4 * aDay, 8 * aDay}, severe: [2]float64{0.7, 1}},
	{name: "the hole clogs", kind: simulator.Oversaturation, causes: []string{"oversaturation"}, within: 3 * aDay, onset: [2]time.Duration{0, aDay}, severe: [2]float64{0.5, 0.9}},
	{name: "a gap along the wall", kind: simulator.EdgeChannelling, causes: []string{"edge-channelling"}, within: 3 * aDay, onset: [2]time.Duration{0, 2 * aDay}, severe: [2]float64{0.4, 0.7}},
	{name: "the pot in the sun", kind: simulator.RootZoneHeat, causes: []string{"root-zone-heat"}, within: 3 * aDay, onset: [2]time.Duration{0, aDay}, severe: [2]float64{0.7, 1}},
	{name: "salt builds up", kind: simulator.SaltBuildUp, causes: []string{"salt-build-up"}, within: 3 * aDay, onset: [2]time.Duration{0, aDay}, severe: [2]float64{0.7, 1}, ec: true},
	{name: "a hot spell", kind: simulator.HotSpell, causes: []string{"weather-or-growth", "none"}, within: 3 * aDay, onset: [2]time.Duration{0, aDay}, severe: [2]float64{0.6, 1}},
	{name: "shoots pruned", kind: simulator.ShootsPruned, causes: []string{"weather-or-growth", "none"}, within: 3 * aDay, severe: [2]float64{0.3, 0.6}},
	{name: "growth", kind: simulator.FastGrowth, causes: []string{"weather-or-growth", "none"}, within: 3 * aDay, onset: [2]time.Duration{0, 3 * aDay}, severe: [2]float64{0.5, 1}},
}

// troubled is a season of one zone with one trouble in it.
type troubled struct {
	season
	visible, due time.Time // when the truth shows, and when it should be named
}

// draw gives a season in which the trouble comes on the 11th day.
func (k *troubleKind) draw(seed uint64) troubled {
	c := chances{rand.New(rand.NewPCG(seed, uint64(k.kind)))}
	s := drawSeason(seed, 1, 22)
	for k.probes > len(s.zones[0].spec.Probes) || k.ec && !s.zones[0].spec.Probes[0].TellsEC || k.kind == simulator.RootZoneHeat && !s.zones[0].spec.Probes[0].TellsTemperature ||
		(k.kind == simulator.UnreportedWatering || k.kind == simulator.EmitterBlocked || k.kind == simulator.ValveStuckClosed) && !s.zones[0].spec.TellsVolume {
		seed += 1 << 32 // what must be there to be found
		s = drawSeason(seed, 1, 22)
	}
	from := s.start.AddDate(0, 0, 10).Add(time.Duration(c.between(7, 11) * float64(time.Hour)))
	onset := k.onset[0] + time.Duration(c.Float64()*float64(k.onset[1]-k.onset[0]))
	f := simulator.Fault{Kind: k.kind, From: from, Onset: onset, Severity: c.between(k.severe[0], k.severe[1]), Container: -1, Probe: -1,
		VolumeML: s.zones[0].spec.Container.VolumeML() * c.between(0.08, 0.15)}
	if k.one {
		f.Container, f.Probe = s.zones[0].spec.Probes[0].Container, 0
	}
	s.faults = []simulator.Fault{f}
	visible := from.Add(onset / 2)
	due := visible.Add(k.within)
	s.days = int(due.Sub(s.start)/aDay) + 1
	return troubled{s, visible, due}
}

// named is what the engine said of a trouble.
type named struct {
	top   string // most probable cause when it was due, "none" below one half in all
	ever  bool   // a right cause led, at one half or more, at some time until then
	early int    // false alarms before it came
}

// playTrouble plays a troubled season.
func playTrouble(k *troubleKind, x troubled) (named, error) {
	out := named{top: "none"}
	from := x.faults[0].From
	warm := x.start.AddDate(0, 0, warmUp)
	crying := ""
	_, err := playSeason(x.season, func(_ int, o *Output) {
		if o.State == nil || o.State.Time.After(x.due) {
			return
		}
		top, p := "none", 0.5
		for _, f := range o.State.Diagnosis {
			if f.Probability >= p {
				top, p = f.Cause, f.Probability
			}
		}
		if o.State.Time.Before(from) {
			if top != "none" && top != "weather-or-growth" && top != crying && o.State.Time.After(warm) {
				out.early++
			}
			crying = top
			return
		}
		out.top = top
		out.ever = out.ever || top != "none" && slices.Contains(k.causes, top)
	})
	return out, err
}

// TestSeasonTrouble plays every trouble over seeds and prints what it was taken
// for.
func TestSeasonTrouble(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are long; run without -short")
	}
	n := seasonCount(t, 1)
	var table strings.Builder
	right, all, early, days := 0, 0, 0, 0.0
	for i := range troubleKinds {
		k := &troubleKinds[i]
		taken, hits := map[string]int{}, 0
		for j := range n {
			x := k.draw(reportingSeeds + uint64(1000*i+j))
			got, err := playTrouble(k, x)
			if err != nil {
				t.Fatal(err)
			}
			taken[got.top]++
			all++
			early += got.early
			days += 10 - warmUp
			if got.ever || slices.Contains(k.causes, got.top) {
				hits++
				right++
			}
		}
		fmt.Fprintf(&table, "%-35s right %3d of %3d, taken for %v\n", k.name, hits, n, taken)
	}
	t.Logf("right in time %.2f of %d; %.2f false alarms per 100 zone-days before\n%s", float64(right)/float64(all), all, 100*float64(early)/days, table.String())
}
