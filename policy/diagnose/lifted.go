package diagnose

// Lifted is by how much the zone stands higher than the water that was reported explains: what
// came unreported, until the zone has come down by as much again. An open valve holds a
// container above what it keeps for as long as it runs, by the flow times the e-folding time
// of drainage.
type Lifted struct {
	Base float32 // water content before it came, m3/m3
	Up   float32 // m3/m3; 0: it does not
	AtMs int64   // when any was last seen to come
}

// leastLifted is what is left of a rise that still counts, m3/m3, and liftedMs for how long after
// the newest: as long as what was seen of an open valve is remembered. Water that was given
// once is drunk by then, and what has been reported since keeps the level (common practice, no
// source).
const leastLifted, liftedMs = 0.01, 3 * dayMs

// rose takes a rise that nobody reported.
func (l *Lifted) rose(from, up float32, atMs int64) {
	if l.Up == 0 {
		l.Base = from
	}
	l.Up += up
	l.AtMs = atMs
}

// look takes the zone's water content.
func (l *Lifted) look(level float64, atMs int64) {
	l.Up = min(l.Up, float32(level)-l.Base)
	if l.Up < leastLifted || atMs-l.AtMs > liftedMs {
		*l = Lifted{}
	}
}
