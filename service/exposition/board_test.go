package exposition

// board is a facility that stands still: a source of the same samples at each
// scrape. A zone without a sample yet is nil.
type board []*Sample

// Each is its Source.
func (b board) Each(yield func(*Sample) bool) {
	for _, s := range b {
		if s != nil && !yield(s) {
			return
		}
	}
}
