package shard

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rhizostat/policy"
	"rhizostat/policy/sensing"
)

// record is a worker that notes what it was given.
type record struct {
	lines    []string
	restarts int
	last     time.Time
	back     bool // time went back
	wake     func(at time.Time)
	control  func(c Control)
}

func (r *record) Step(e policy.Event) {
	r.back = r.back || e.At.Before(r.last)
	r.last = e.At
	line := fmt.Sprintf("%s kind=%d", e.At.Format("15:04:05"), e.Kind)
	if e.Kind == policy.Reading {
		line = fmt.Sprintf("%s source=%d stamp=%s", e.At.Format("15:04:05"), e.Source, e.Stamp.Format("15:04:05"))
	}
	r.lines = append(r.lines, line)
	if e.Kind == policy.Wake && r.wake != nil {
		r.wake(e.At)
	}
}

func (r *record) Control(c Control, now time.Time) {
	if c.Kind == Decision || c.Kind == Operator { // the engine is told of these
		r.back = r.back || now.Before(r.last)
		r.last = now
	}
	r.lines = append(r.lines, fmt.Sprintf("control at %s", now.Format("15:04:05")))
	if r.control != nil {
		r.control(c)
	}
}

func (r *record) Restart(time.Time) { r.restarts, r.last = r.restarts+1, time.Time{} }

var noon = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

func reading(source int, at time.Time) Telemetry {
	t := Telemetry{Source: source, At: at, Arrived: at}
	t.Values.Set(sensing.WaterContent, 0.5)
	return t
}

type fixture struct {
	*Shard
	worker  *record
	refused []string
}

func newFixture(mode Mode) *fixture {
	f := &fixture{worker: &record{}}
	f.Shard = New(Settings{
		Mode: mode, Hold: DefaultHold, Late: DefaultLate, Ahead: DefaultAhead,
		Flush: func() {},
		Refused: func(_, source int, reason string) {
			f.refused = append(f.refused, fmt.Sprintf("%d %s", source, reason))
		},
	})
	f.Add(f.worker, 3, time.Time{})
	return f
}

func TestLateReadingsArePutInOrder(t *testing.T) {
	f := newFixture(FromTelemetry)
	for _, s := range []int{0, 60, 30, 120, 90} {
		f.Telemetry(0, reading(0, noon.Add(time.Duration(s)*time.Second)))
	}
	f.DrainAll()
	want := []string{
		"12:00:00 source=0 stamp=12:00:00", "12:00:30 source=0 stamp=12:00:30", "12:01:00 source=0 stamp=12:01:00",
		"12:01:30 source=0 stamp=12:01:30", "12:02:00 source=0 stamp=12:02:00",
	}
	if !slices.Equal(f.worker.lines, want) {
		t.Errorf("got %q, want %q", f.worker.lines, want)
	}
}

func TestRefusals(t *testing.T) {
	minute := func(n int) time.Time { return noon.Add(time.Duration(n) * time.Minute) }
	tests := map[string]struct {
		in   []Telemetry
		want []string
	}{
		"a double that still waits":   {[]Telemetry{reading(0, minute(0)), reading(0, minute(0))}, []string{"0 doubled"}},
		"a double of what was taken":  {[]Telemetry{reading(0, minute(0)), reading(0, minute(5)), reading(0, minute(0))}, []string{"0 doubled"}},
		"older than its own last":     {[]Telemetry{reading(0, minute(0)), reading(0, minute(4)), reading(1, minute(10)), reading(0, minute(3))}, []string{"0 late"}},
		"late beyond all patience":    {[]Telemetry{reading(0, minute(0)), reading(1, minute(0)), reading(1, minute(30)), reading(0, minute(14))}, []string{"0 late"}},
		"late by less, other source":  {[]Telemetry{reading(0, minute(0)), reading(1, minute(30)), reading(0, minute(16))}, nil},
		"one probe from the future":   {[]Telemetry{reading(0, minute(0)), reading(1, minute(0)), reading(1, minute(90)), reading(0, minute(1))}, []string{"1 from-the-future"}},
		"two witnesses of the future": {[]Telemetry{reading(0, minute(0)), reading(1, minute(0)), reading(1, minute(90)), reading(0, minute(91))}, []string{"1 from-the-future"}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			f := newFixture(FromTelemetry)
			for _, in := range test.in {
				f.Telemetry(0, in)
			}
			if !slices.Equal(f.refused, test.want) {
				t.Errorf("refused %q, want %q", f.refused, test.want)
			}
		})
	}
}

func TestFiveInARowMoveTheClock(t *testing.T) {
	f := newFixture(FromTelemetry)
	f.Telemetry(0, reading(0, noon))
	f.Telemetry(0, reading(1, noon))
	for i := range 5 {
		f.Telemetry(0, reading(0, noon.Add(30*time.Hour+time.Duration(i)*time.Minute)))
	}
	if got, want := len(f.refused), 4; got != want {
		t.Errorf("%d refused, want %d", got, want)
	}
	if got, want := f.Now(0), noon.Add(30*time.Hour+4*time.Minute); !got.Equal(want) {
		t.Errorf("engine time %s, want %s", got, want)
	}
}

// A probe whose clock is three hours ahead stays refused while another source goes
// on in the old time, and its word is no second witness for another's; once the others
// are silent it moves the clock. A source that stands still in the old time keeps
// nobody back.
func TestOneClockAheadDoesNotTakeTheTime(t *testing.T) {
	f := newFixture(FromTelemetry)
	f.Telemetry(0, reading(1, noon))
	f.Telemetry(0, reading(2, noon))
	for i := range 20 {
		at := noon.Add(time.Duration(i) * 5 * time.Minute)
		f.Telemetry(0, reading(0, at.Add(3*time.Hour)))
		f.Telemetry(0, reading(2, at.Add(time.Minute)))
		if i%4 == 3 {
			f.Telemetry(0, reading(1, at.Add(3*time.Hour)))
		}
		f.Telemetry(0, reading(2, at.Add(2*time.Minute)))
	}
	if got, want := f.Now(0), noon.Add(97*time.Minute); !got.Equal(want) {
		t.Fatalf("engine time %s, want %s; refused %q", got, want, f.refused)
	}
	for i := range 5 {
		f.Telemetry(0, reading(2, noon.Add(97*time.Minute)))
		f.Telemetry(0, reading(0, noon.Add(5*time.Hour+time.Duration(i)*time.Minute)))
	}
	if got, want := f.Now(0), noon.Add(5*time.Hour+4*time.Minute); !got.Equal(want) {
		t.Errorf("with the others silent: engine time %s, want %s", got, want)
	}
}

func TestAFirstWrongClockIsOverruled(t *testing.T) {
	f := newFixture(FromTelemetry)
	f.Telemetry(0, reading(0, noon.AddDate(1, 0, 0)))
	f.Telemetry(0, reading(1, noon))
	f.Telemetry(0, reading(2, noon))
	f.DrainAll()
	if f.worker.restarts != 1 || !f.Now(0).Equal(noon) {
		t.Errorf("%d restarts, engine time %s; want 1 and %s", f.worker.restarts, f.Now(0), noon)
	}
}

func TestWallClock(t *testing.T) {
	f := newFixture(Wall)
	ahead := reading(0, noon.Add(time.Hour))
	ahead.Arrived = noon
	f.Telemetry(0, ahead)
	slow := reading(1, noon.Add(-time.Minute))
	slow.Arrived = noon
	f.Telemetry(0, slow)
	f.Tick(noon.Add(3 * time.Minute))
	if f.worker.lines[len(f.worker.lines)-1] != "11:59:00 source=1 stamp=11:59:00" || !slices.Equal(f.refused, []string{"0 from-the-future"}) {
		t.Errorf("got %q, refused %q", f.worker.lines, f.refused)
	}
}

func TestAWakeSeesTheReadingsOfItsInstant(t *testing.T) {
	f := newFixture(FromTelemetry)
	f.worker.wake = func(at time.Time) { f.WakeAt(0, at.Add(5*time.Minute)) }
	f.WakeAt(0, noon.Add(5*time.Minute))
	f.Telemetry(0, reading(0, noon))
	f.Telemetry(0, reading(0, noon.Add(5*time.Minute)))
	f.Telemetry(0, reading(1, noon.Add(5*time.Minute)))
	f.DrainAll()
	want := []string{"12:00:00 source=0 stamp=12:00:00", "12:05:00 source=0 stamp=12:05:00", "12:05:00 source=1 stamp=12:05:00", "12:05:00 kind=0"}
	if !slices.Equal(f.worker.lines, want) {
		t.Errorf("got %q, want %q", f.worker.lines, want)
	}
}

// Time never goes back for a worker, whatever comes in.
func TestTimeNeverGoesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := newFixture(Mode(rapid.IntRange(0, 1).Draw(t, "mode")))
		now := noon
		for range rapid.IntRange(1, 60).Draw(t, "n") {
			now = now.Add(time.Duration(rapid.IntRange(0, 600).Draw(t, "step")) * time.Second)
			in := reading(rapid.SampledFrom([]int{0, 1, 2, policy.ZoneWide, policy.Climate}).Draw(t, "source"),
				now.Add(time.Duration(rapid.IntRange(-4000, 4000).Draw(t, "skew"))*time.Second))
			in.Arrived = now
			f.Telemetry(0, in)
			switch rapid.IntRange(0, 5).Draw(t, "then") {
			case 0:
				f.DrainAll()
			case 1:
				f.Tick(now)
			case 2:
				kind := rapid.SampledFrom([]ControlKind{Decision, Operator, ReadBack, Resync}).Draw(t, "kind")
				said := time.Time{}
				if kind == Operator {
					said = now.Add(time.Duration(rapid.IntRange(-4000, 4000).Draw(t, "said")) * time.Second)
				}
				f.Control(0, Control{Kind: kind, Time: now, Said: said})
			}
		}
		f.DrainAll()
		if f.worker.back {
			t.Fatalf("time went back: %q", f.worker.lines)
		}
	})
}

// A zone restored from its snapshot goes on as one that never stopped.
func TestRestoredGoesOn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := newFixture(FromTelemetry), newFixture(FromTelemetry)
		now := noon
		steps := rapid.IntRange(1, 40).Draw(t, "n")
		stop := rapid.IntRange(0, steps).Draw(t, "stop")
		for i := range steps {
			if i == stop {
				data := written(t, b.Snapshot(0))
				lines, refused := b.worker.lines, b.refused
				b = newFixture(FromTelemetry)
				b.worker.lines, b.refused = lines, refused
				b.Restore(0, data)
			}
			now = now.Add(time.Duration(rapid.IntRange(0, 90).Draw(t, "step")) * time.Second)
			in := reading(rapid.IntRange(0, 2).Draw(t, "source"), now.Add(time.Duration(rapid.IntRange(-1200, 5000).Draw(t, "skew"))*time.Second))
			a.Telemetry(0, in)
			b.Telemetry(0, in)
		}
		a.DrainAll()
		b.DrainAll()
		if !slices.Equal(a.worker.lines, b.worker.lines) || !slices.Equal(a.refused, b.refused) {
			t.Fatalf("never stopped: %q %q\nrestored: %q %q", a.worker.lines, a.refused, b.worker.lines, b.refused)
		}
	})
}

// TestRestoredWithOtherProbes: a probe takes up what was its own, whatever index it
// had, and nothing of one that it replaced.
func TestRestoredWithOtherProbes(t *testing.T) {
	for _, c := range []struct {
		name   string
		probes []string
		want   []string // sources that waited, in order
		first  int      // of p2, its index now
	}{
		{"the same", []string{"p1", "p2", "p3"}, []string{"0", "1", "2", "-1"}, 1},
		{"the first replaced", []string{"p2", "p3", "p4"}, []string{"0", "1", "-1"}, 0},
		{"one less", []string{"p1", "p2"}, []string{"0", "1", "-1"}, 1},
		{"one more", []string{"p0", "p1", "p2", "p3"}, []string{"1", "2", "3", "-1"}, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := newFixture(FromTelemetry)
			a.Name(0, []string{"p1", "p2", "p3"})
			a.Telemetry(0, reading(1, noon.Add(-10*time.Minute)))
			for i, source := range []int{0, 1, 2, policy.ZoneWide} {
				a.Telemetry(0, reading(source, noon.Add(time.Duration(i)*time.Second)))
			}
			kept := written(t, a.Snapshot(0))
			b := &fixture{worker: &record{}}
			b.Shard = New(Settings{Mode: FromTelemetry, Hold: DefaultHold, Late: DefaultLate, Ahead: DefaultAhead,
				Refused: func(_, source int, reason string) { b.refused = append(b.refused, fmt.Sprint(source, " ", reason)) }})
			b.Add(b.worker, len(c.probes), time.Time{})
			b.Name(0, c.probes)
			b.Restore(0, kept)
			b.Telemetry(0, reading(c.first, noon.Add(-10*time.Minute))) // it was stepped before
			b.DrainAll()
			var got []string
			for _, line := range b.worker.lines {
				got = append(got, strings.TrimPrefix(strings.Fields(line)[1], "source="))
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("sources %q were stepped, want %q", got, c.want)
			}
			if want := []string{fmt.Sprint(c.first, " doubled")}; !slices.Equal(b.refused, want) {
				t.Errorf("refused %q, want %q", b.refused, want)
			}
		})
	}
}
