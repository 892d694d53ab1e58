package diagnose

// Lifted is by how much the zone stands higher than the water that was reported explains: what
// came unreported, until the zone has come down by as much again. An open valve holds a
// container above what it keeps for as long as it runs, by the flow times the e-folding time
// of drainage.
type Lifted struct {
	Base float32 // water content before it came, m3/m3
	Up   float32 // m3/m3; 0: it does not
}

// leastLifted is what is left of a rise that still counts, m3/m3 (common practice, no source).
const leastLifted = 0.01

// rose takes a rise that nobody reported.
func (l *Lifted) rose(from, up float32) {
	if l.Up == 0 {
		l.Base = from
	}
	l.Up += up
}

// look takes the zone's water content.
func (l *Lifted) look(level float64) {
	l.Up = min(l.Up, float32(level)-l.Base)
	if l.Up < leastLifted {
		*l = Lifted{}
	}
}
