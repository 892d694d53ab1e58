package policy

// window sums amounts over the last 24 h in quarters of an hour; the oldest
// quarter counts for the share of it that is still inside. Fixed size, part of
// the snapshot.
type window struct {
	Bins [windowBins]float32
	Slot int64 // quarter of the newest amount, since 1970
}

const (
	windowBins = 97 // 24 h and the quarter that is running
	windowMS   = 15 * 60 * 1000
	windowMost = 24 * 3600 // s: what is summed are seconds
)

// add puts an amount at an instant, ms since 1970.
func (w *window) add(at int64, amount float64) {
	w.advance(at)
	w.Bins[w.Slot%windowBins] += float32(amount)
}

func (w *window) advance(at int64) {
	slot := at / windowMS
	if slot <= w.Slot {
		return
	}
	if slot-w.Slot >= windowBins {
		w.Bins = [windowBins]float32{}
		w.Slot = slot
		return
	}
	for w.Slot < slot {
		w.Slot++
		w.Bins[w.Slot%windowBins] = 0
	}
}

// sum is what came in the 24 h up to an instant.
func (w *window) sum(at int64) float64 {
	w.advance(at)
	oldest := (w.Slot + 1) % windowBins
	total := 0.0
	for i, v := range w.Bins {
		if int64(i) == oldest {
			continue
		}
		total += float64(v)
	}
	running := float64(at%windowMS) / windowMS
	total += float64(w.Bins[oldest]) * (1 - running)
	return min(total, windowMost) // an amount counts to the quarter that it ends in
}
