package sensing

// Each is what is kept of each probe of a zone. It is as long as the probes that have
// come up: nearly all zones have far fewer than MaxProbes, and what is kept of one is a
// large part of a zone. The zero value is ready. A copy shares its elements.
type Each[T any] []T

// At gives what is kept of a probe, 0 to MaxProbes-1; of one that has not come up yet it
// begins at zero. What it gave before may be no longer kept once a higher one comes up.
func (e *Each[T]) At(probe int) *T {
	if probe >= len(*e) {
		e.grow(probe + 1)
	}
	return &(*e)[probe]
}

// grow takes no more than is needed: a slice that is appended to has room to spare.
func (e *Each[T]) grow(n int) {
	longer := make([]T, n)
	copy(longer, *e)
	*e = longer
}
