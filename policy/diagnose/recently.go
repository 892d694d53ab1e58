package diagnose

import "rhizostat/policy/sensing"

// Recently is the last looks, the newest first.
type Recently struct {
	AtMs     int64
	BeforeMs int64                                   // the look before
	Level    [recentLooks][sensing.MaxProbes]float32 // of each probe, -1: not known
	Zone     [recentLooks]float32
	Total    [recentLooks]float32 // given since the zone was first seen, less Base, mL
	Base     float64
	ShownML  float64 // water reported or shown at the newest look, mL
	Still    sensing.Each[Stillness]
}

const (
	recentLooks = 4
	// freshMs is the age up to which a probe's reading speaks of a look.
	freshMs = 16 * 60 * 1000
)

// push takes a look.
func (r *Recently) push(in *Inputs, atMs int64) {
	if atMs-r.AtMs > pairMs {
		*r = Recently{Still: r.Still, Base: in.Water.ReportedML, ShownML: r.ShownML}
		for k := range r.Level {
			r.Zone[k] = -1
			for i := range r.Level[k] {
				r.Level[k][i] = -1
			}
		}
	}
	r.BeforeMs, r.AtMs = r.AtMs, atMs
	copy(r.Level[1:], r.Level[:recentLooks-1])
	copy(r.Zone[1:], r.Zone[:recentLooks-1])
	copy(r.Total[1:], r.Total[:recentLooks-1])
	for i := range r.Level[0] {
		r.Level[0][i] = -1
	}
	for i := range in.Probes[:in.ProbeCount] {
		if p := &in.Probes[i]; p.Heard && atMs-p.AtMs < freshMs {
			r.Level[0][i] = float32(p.Mean)
		}
	}
	r.Zone[0], r.Total[0] = float32(in.WaterContent), float32(in.Water.ReportedML-r.Base)
}

// mean is a probe's level over looks a and b, -1 where it is not known.
func (r *Recently) mean(i, a, b int) float32 {
	x, y := r.Level[a][i], r.Level[b][i]
	switch {
	case x < 0:
		return y
	case y < 0:
		return x
	}
	return (x + y) / 2
}
