package sensing

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"testing"
)

func TestExploreFaults(t *testing.T) {
	type fault struct {
		name string
		make func(z *trialZone, p *trialProbe, from int64)
	}
	mk := func(f func(from, at int64, r float64, z *trialZone) (float64, bool)) func(z *trialZone, p *trialProbe, from int64) {
		return func(z *trialZone, p *trialProbe, from int64) {
			p.fault = func(at int64, r float64) (float64, bool) {
				if at < from {
					return r, true
				}
				return f(from, at, r, z)
			}
		}
	}
	trialGain, trialLag = 0.1, 5
	frng := rand.New(rand.NewPCG(5, 5))
	var held float64
	faults := []fault{
		{"frozen", func(z *trialZone, p *trialProbe, from int64) {
			held = -1
			p.fault = func(at int64, r float64) (float64, bool) {
				if at < from {
					return r, true
				}
				if held < 0 {
					held = r
				}
				return held, true
			}
		}},
		{"frozen jitter", func(z *trialZone, p *trialProbe, from int64) {
			h := -1.0
			p.fault = func(at int64, r float64) (float64, bool) {
				if at < from {
					return r, true
				}
				if h < 0 {
					h = r
				}
				return h + 0.0005*frng.NormFloat64(), true
			}
		}},
		{"up .1", mk(func(_, _ int64, r float64, _ *trialZone) (float64, bool) { return r + .1, true })},
		{"down .1", mk(func(_, _ int64, r float64, _ *trialZone) (float64, bool) { return r - .1, true })},
		{"down .04", mk(func(_, _ int64, r float64, _ *trialZone) (float64, bool) { return r - .04, true })},
		{"up .04", mk(func(_, _ int64, r float64, _ *trialZone) (float64, bool) { return r + .04, true })},
		{"drift .02/d", mk(func(from, at int64, r float64, _ *trialZone) (float64, bool) {
			return r + .02*float64(at-from)/float64(dayMs), true
		})},
		{"drift -.04/d", mk(func(from, at int64, r float64, _ *trialZone) (float64, bool) {
			return r - .04*float64(at-from)/float64(dayMs), true
		})},
		{"dry", nil},
		{"silent", mk(func(_, _ int64, r float64, _ *trialZone) (float64, bool) { return 0, false })},
		{"noisy .02", mk(func(_, _ int64, r float64, z *trialZone) (float64, bool) { return r + .02*frng.NormFloat64(), true })},
		{"noisy .1", mk(func(_, _ int64, r float64, z *trialZone) (float64, bool) { return r + .1*frng.NormFloat64(), true })},
	}
	for _, f := range faults {
		for _, n := range []int{1, 2, 3} {
			for _, every := range []int64{60_000, 15 * minuteMs} {
				var delays []float64
				first := map[Health]int{}
				others := map[Health]int{}
				missed := 0
				worstMove := 0.0
				for seed := range uint64(6) {
					z := newTrialZone(seed*7+100, n, every)
					from := z.atMs + 7*dayMs + int64(seed*5)*hourMs
					zf := newTrialZone(seed*7+100, n, every)
					if f.make != nil {
						f.make(z, &z.probes[0], from)
					}
					var p, q Panel
					last := [16]Health{}
					found := false
					dry := func(at int64) {
						if f.name == "dry" && at >= from {
							z.probes[0].dry = true
						}
					}
					// reference without the fault: same seeds
					var refs []float64
					zf.run(12*dayMs, func(i int, at int64, r float64) { q.Observe(i, at, r, r, Zone{WaterMs: zf.reported()}) }, func(at int64) {
						v, _, _, _ := q.Consensus.Value(at)
						refs = append(refs, v)
					})
					k := 0
					z.run(12*dayMs, func(i int, at int64, r float64) {
						dry(at)
						p.Observe(i, at, r, r, Zone{WaterMs: z.reported()})
					}, func(at int64) {
						v, _, _, ok := p.Consensus.Value(at)
						if ok && at > from {
							worstMove = math.Max(worstMove, math.Abs(v-refs[k]))
						}
						k++
						for i := range n {
							h := p.Health[i].Health(at)
							if h != last[i] && h != OK {
								if i == 0 {
									if !found && at >= from {
										delays = append(delays, float64(at-from)/float64(hourMs))
										first[h]++
										found = true
									}
									if at < from {
										others[h] += 1000
									}
								} else {
									others[h]++
								}
							}
							last[i] = h
						}
					})
					if !found {
						missed++
					}
				}
				sort.Float64s(delays)
				med := -1.0
				if len(delays) > 0 {
					med = delays[len(delays)/2]
				}
				fmt.Printf("%-14s n %d every %4d: first %v missed %d median %.1f h max %.1f others %v move %.4f\n", f.name, n, every/1000, first, missed, med, append(delays, -1)[max(len(delays)-1, 0)], others, worstMove)
			}
		}
	}
}
