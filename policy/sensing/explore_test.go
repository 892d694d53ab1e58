package sensing

import (
	"fmt"
	"testing"
	"time"
)

func TestExplore(t *testing.T) {
	for _, z := range []string{"slab-a", "slab-b", "slab-c"} {
		rows := readRecording(t, z)
		var p Panel
		var last [2]Health
		water := int64(0)
		prev, prevN := 0.0, 0
		for _, r := range rows {
			if r.watered {
				water = r.atMs
			}
			for i := range 2 {
				if r.has[i] {
					p.Observe(i, r.atMs, r.wc[i], r.wc[i], Zone{WaterMs: water})
				}
				h := p.Health[i].Health(r.atMs)
				if h != last[i] {
					fmt.Println(z, i+1, time.UnixMilli(r.atMs).UTC().Format("01-02 15:04"), last[i], "->", h)
					last[i] = h
				}
			}
			wc, sd, n, ok := p.Consensus.Value(r.atMs)
			if ok && n != prevN {
				fmt.Println("   n", z, time.UnixMilli(r.atMs).UTC().Format("01-02 15:04"), n, wc-prev, sd, p.Consensus.Bridge)
			}
			prev, prevN = wc, n
			if r.atMs%(7*dayMs) == 0 {
				o, _ := p.Consensus.Offset(0)
				fmt.Printf("%s %s wc %.3f sd %.4f lvl %.3f off %.3f noise %.4f %.4f scat %.4f longest %.0f unm %.3f\n", z, time.UnixMilli(r.atMs).UTC().Format("01-02"), wc, sd, p.Consensus.LevelSD(), o, p.Health[0].Noise, p.Health[1].Noise, p.Consensus.Scatter, p.Health[1].Still.LongestS, p.Health[1].Still.Unmoved)
			}
		}
	}
}
