package service

import (
	"context"
	"runtime/debug"
	runtimemetrics "runtime/metrics"
	"time"
)

// Nearly all that the daemon holds are zones, which stay; what comes on top before the heap
// is collected is garbage. Sensors send a few times a minute, so collecting it early costs
// next to nothing; a recording that is played as fast as can be, or very many zones, would
// spend a good part of a processor on it. So the heap is kept as small as a share of one
// processor pays for.
const (
	// mostPercent and leastPercent are by how much the heap may grow over what is in use
	// before it is collected. Go's own is 100.
	mostPercent, leastPercent = 50, 10
	// dear and cheap are the shares of one processor at which collecting is done less
	// often, or more.
	dear, cheap = 0.01, 0.005
	// heapEvery is how often that is looked at: several collections of a heap that is
	// collected often.
	heapEvery = 15 * time.Second
)

// heapKeeper says at which growth the heap is collected.
type heapKeeper struct {
	percent   int
	collectS  float64 // processor time that collecting has taken since the start
	collected uint64  // how often it was done
}

// look takes what collecting has cost by now, s of one processor, and how often it was
// done, over the time since the last look. It gives the percentage to go on with.
func (k *heapKeeper) look(collectS float64, collected uint64, over time.Duration) int {
	share := (collectS - k.collectS) / over.Seconds()
	often := collected > k.collected
	k.collectS, k.collected = collectS, collected
	switch {
	case share > dear:
		k.percent = mostPercent // at once: it is messages that pay for it
	case share < cheap && often: // where nothing was collected, nothing is known of the cost
		k.percent = max(leastPercent, k.percent*2/3)
	}
	return k.percent
}

// keepHeapSmall collects as much as it may cost until ctx ends. It is for a process that
// was not told by GOGC when to collect.
func keepHeapSmall(ctx context.Context) {
	before := debug.SetGCPercent(mostPercent)
	defer debug.SetGCPercent(before)
	tick := time.NewTicker(heapEvery)
	defer tick.Stop()
	keeper := heapKeeper{percent: mostPercent}
	now := []runtimemetrics.Sample{{Name: "/cpu/classes/gc/total:cpu-seconds"}, {Name: "/gc/cycles/total:gc-cycles"}}
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		runtimemetrics.Read(now)
		was := keeper.percent
		if percent := keeper.look(now[0].Value.Float64(), now[1].Value.Uint64(), heapEvery); percent != was {
			debug.SetGCPercent(percent)
		}
	}
}
