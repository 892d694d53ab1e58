package service

import (
	"context"
	"runtime/debug"
	"testing"
	"testing/synctest"
	"time"
)

// What collecting may cost decides how often it is done.
func TestHeapKeeper(t *testing.T) {
	k := heapKeeper{percent: mostPercent}
	spent, cycles := 7.0, uint64(3)
	k.collectS, k.collected = spent, cycles
	look := func(times int, share float64, more uint64) int {
		for range times {
			spent += share * heapEvery.Seconds()
			cycles += more
			k.look(spent, cycles, heapEvery)
		}
		return k.percent
	}
	for _, c := range []struct {
		what  string
		times int
		share float64
		more  uint64
		want  int
	}{
		{"sensors at their pace", 1, cheap / 2, 1, 33},
		{"for a while", 10, cheap / 2, 1, leastPercent},
		{"neither dear nor cheap", 10, (cheap + dear) / 2, 5, leastPercent},
		{"a flood", 1, 2 * dear, 20, mostPercent},
		{"nothing collected", 10, 0, 0, mostPercent},
		{"at their pace again", 10, cheap / 2, 1, leastPercent},
	} {
		if got := look(c.times, c.share, c.more); got != c.want {
			t.Errorf("%s: %d %%; expected %d", c.what, got, c.want)
		}
	}
}

// The process is left as it was found.
func TestKeepHeapSmall(t *testing.T) {
	before := debug.SetGCPercent(70)
	defer debug.SetGCPercent(before)
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() {
			defer close(done)
			keepHeapSmall(ctx)
		}()
		time.Sleep(4 * heapEvery)
		if during := debug.SetGCPercent(mostPercent); during > mostPercent || during < leastPercent {
			t.Errorf("%d %%; expected %d to %d", during, leastPercent, mostPercent)
		}
		stop()
		<-done
	})
	if after := debug.SetGCPercent(70); after != 70 {
		t.Errorf("it is %d %% afterwards; expected 70 as before", after)
	}
}
