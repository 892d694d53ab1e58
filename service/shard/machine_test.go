package shard

import (
	"testing"
	"time"
)

// walled is a zone in the wall clock of a machine whose clock may be wrong: off
// says by how much, at what true time.
type walled struct {
	*fixture
	passed time.Duration // what has truly elapsed
}

func newWalled() *walled {
	w := new(walled)
	w.fixture = &fixture{worker: &record{}}
	w.Shard = New(Settings{
		Mode: Wall, Hold: DefaultHold, Late: DefaultLate, Ahead: DefaultAhead, Flush: func() {},
		Elapsed: func() time.Duration { return w.passed },
		Refused: func(_, _ int, reason string) { w.refused = append(w.refused, reason) },
	})
	w.worker.wake = func(at time.Time) { w.WakeAt(0, at.Add(time.Minute)) }
	w.Add(w.worker, 3, time.Time{})
	return w
}

// live lets true time go by, second for second, under a clock that is off, with
// a reading each minute.
func (w *walled) live(d, off time.Duration) {
	for end := w.passed + d; w.passed < end; {
		w.passed += time.Second
		said := noon.Add(w.passed + off)
		if w.passed%time.Minute == 0 {
			w.Telemetry(0, reading(0, said))
		}
		w.Tick(said)
	}
}

// TestAWrongMachineClock: a zone goes by what has elapsed until the clock has said
// otherwise for a while, takes a step back only anew, and never stands still for
// longer than it takes to see that.
func TestAWrongMachineClock(t *testing.T) {
	type stretch struct{ d, off time.Duration }
	for _, c := range []struct {
		name     string
		play     []stretch
		off      time.Duration // of engine time at the end
		restarts int
		waits    bool // stands still meanwhile, and takes no reading older than what it has
	}{
		{"right", []stretch{{time.Hour, 0}}, 0, 0, false},
		{"ahead for a tick", []stretch{{time.Hour, 0}, {time.Second, 72 * time.Hour}, {time.Minute, 0}}, 0, 0, false},
		{"ahead for minutes", []stretch{{time.Hour, 0}, {4 * time.Minute, 72 * time.Hour}, {time.Minute, 0}}, 0, 0, false},
		{"ahead by something else each time", []stretch{{time.Hour, 0}, {4 * time.Minute, 72 * time.Hour}, {4 * time.Minute, 48 * time.Hour}}, 0, 0, false},
		{"behind for a tick", []stretch{{time.Hour, 0}, {time.Second, -72 * time.Hour}, {time.Minute, 0}}, 0, 0, false},
		{"put right by a little", []stretch{{time.Hour, 0}, {time.Minute, 2 * time.Minute}}, 2 * time.Minute, 0, false},
		{"put right ahead", []stretch{{time.Hour, 0}, {6 * time.Minute, 72 * time.Hour}}, 72 * time.Hour, 0, false},
		{"put right back", []stretch{{time.Hour, 72 * time.Hour}, {12 * time.Minute, 0}}, 0, 1, true},
		{"back by less than an hour", []stretch{{time.Hour, 30 * time.Minute}, {40 * time.Minute, 0}}, 0, 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := newWalled()
			for _, s := range c.play {
				w.live(s.d, s.off)
			}
			if got := w.worker.last.Sub(noon.Add(w.passed)); (got - c.off).Abs() > time.Minute {
				t.Errorf("the engine is %s off, want %s", got, c.off)
			}
			if w.worker.restarts != c.restarts || w.worker.back {
				t.Errorf("%d restarts, want %d; time went back: %v", w.worker.restarts, c.restarts, w.worker.back)
			}
			if len(w.refused) > 0 != c.waits {
				t.Errorf("readings without a time of their own were refused: %q", w.refused)
			}
		})
	}
}

// TestAWrongMachineClockBeforeARestart: what is on record of a zone lies ahead of
// the clock, which has been put right meanwhile.
func TestAWrongMachineClockBeforeARestart(t *testing.T) {
	for _, c := range []struct {
		ahead    time.Duration
		restarts int
	}{{72 * time.Hour, 1}, {30 * time.Minute, 0}} {
		before := newWalled()
		before.live(time.Hour, c.ahead)
		kept := written(t, before.Snapshot(0))
		w := newWalled()
		w.passed = before.passed
		w.Restore(0, kept)
		w.live(40*time.Minute, 0)
		if off := w.worker.last.Sub(noon.Add(w.passed)); off.Abs() > time.Minute || w.worker.restarts != c.restarts {
			t.Errorf("%s ahead: %d restarts, want %d; the engine is %s off", c.ahead, w.worker.restarts, c.restarts, off)
		}
	}
}

// A device that keeps its own time is right though the machine is not.
func TestAStampOfItsOwnStandsBesideAWrongMachineClock(t *testing.T) {
	w := newWalled()
	w.live(time.Hour, 0)
	r := reading(1, noon.Add(w.passed-20*time.Second))
	r.Arrived = noon.Add(w.passed + 72*time.Hour)
	w.Telemetry(0, r)
	if len(w.refused) > 0 {
		t.Errorf("refused: %q", w.refused)
	}
}
