package diagnose

// Where one probe speaks for a zone, a container that holds less and a probe that has come to
// read lower look the same: peaks lie lower, and shots lift less as more of them drains from
// a container that is full though its probe does not say so. A container that holds more, and
// one in which water stands, look like a probe that has come to read higher. Nothing else in
// the zone tells, but that such a container drains more slowly, or less.

// probesShare is the share of the probability of such a container that is the probe's own where nothing
// tells the two apart: probes that drift are about as frequent (common practice, no source).
const probesShare = 0.4

// levelOrProbe tells a zone that one probe speaks for and whose levels lie lower than was
// usual, -1, or higher, 1; 0 where they do neither, or where drainage tells that it is the container.
func (m *Memory) levelOrProbe(atMs int64) int {
	if m.Fast.Speaks != 1 || m.movedBy(DrainTime, atMs) >= stillOff || m.movedBy(Drained, atMs) <= -stillOff {
		return 0
	}
	for _, k := range [...]Feature{Peak, Plateau, Rest} {
		switch off := m.movedBy(k, atMs); {
		case off <= -stillOff:
			return -1
		case off >= stillOff:
			return 1
		}
	}
	return 0
}

// movedBy is how far off its usual value a feature of the last two days was, in standard
// deviations; 0 where it is not known.
func (m *Memory) movedBy(k Feature, atMs int64) float32 {
	b := &m.Baselines.Of[k]
	if b.Days < leastDays || b.older(atMs, 2*dayMs) {
		return 0
	}
	return b.Off
}

// shareLone gives the only probe of a zone its share of what its levels say.
func (m *Memory) shareLone(p *[causeCount]float64, atMs int64) {
	var of []Cause
	switch m.levelOrProbe(atMs) {
	case -1:
		of = []Cause{RootBound}
	case 1:
		of = []Cause{Compaction, Oversaturation}
	}
	for _, c := range of {
		x := probesShare * p[c]
		p[c], p[SensorFault] = p[c]-x, p[SensorFault]+x
	}
}
