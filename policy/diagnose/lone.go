package diagnose

// Where one probe speaks for a zone, a container that holds less and a probe that has come to
// read lower look the same: peaks lie lower, and shots lift less as more of them drains from
// a container that is full though its probe does not say so. Nothing else in the zone tells.

// probesShare is the share of root-bound's probability that is the probe's own where nothing
// tells the two apart: probes that drift are about as frequent (common practice, no source).
const probesShare = 0.4

// levelOrProbe tells a zone that one probe speaks for and whose levels lie lower than was usual.
func (m *Memory) levelOrProbe(atMs int64) bool {
	if m.Fast.Speaks != 1 {
		return false
	}
	for _, k := range [...]Feature{Peak, Plateau, Rest} {
		if b := &m.Baselines.Of[k]; b.Days >= leastDays && !b.older(atMs, 2*dayMs) && b.Off <= -stillOff {
			return true
		}
	}
	return false
}

// shareLone gives the only probe of a zone its share of what its levels say.
func (m *Memory) shareLone(p *[causeCount]float64, atMs int64) {
	if m.levelOrProbe(atMs) {
		x := probesShare * p[RootBound]
		p[RootBound], p[SensorFault] = p[RootBound]-x, p[SensorFault]+x
	}
}
