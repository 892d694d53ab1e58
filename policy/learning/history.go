package learning

import "math"

// HistoryBin is the width of a bin of a zone's history, ms.
const HistoryBin = 15 * minuteMs

// HistoryDays is how many days of water content a zone keeps.
const HistoryDays = 4

const (
	historyBins = 96 * HistoryDays
	waterBins   = 97 // 24 h 15 min
	fineBin     = 5 * minuteMs
	fineBins    = 290 // 24 h 10 min
	levelScale  = 60000
)

// History is the water content of the last days and the water given on the
// last, by quarter hours, and the water content of the last day by five minutes:
// waterings by the clock fall on the same minutes each day.
type History struct {
	FineBin int64
	FineSum float64
	FineN   int32
	Fine    [fineBins]uint16 // as Levels
	Bin     int64            // number of the newest bin since 1970
	Sum     float64
	N       int32
	Levels  [historyBins]uint16 // 1 + level*levelScale; 0: nothing known
	Given   [waterBins]float32  // mL
	Begun   bool
}

// moveTo makes bin the newest.
func (h *History) moveTo(bin int64) {
	if !h.Begun {
		h.Bin, h.Begun = bin, true
		return
	}
	if bin <= h.Bin {
		return
	}
	h.store()
	for n := int64(0); n < historyBins && h.Bin+n < bin; n++ {
		h.Levels[mod(h.Bin+1+n, historyBins)] = 0
	}
	for n := int64(0); n < waterBins && h.Bin+n < bin; n++ {
		h.Given[mod(h.Bin+1+n, waterBins)] = 0
	}
	h.Bin, h.Sum, h.N = bin, 0, 0
}

// store writes the newest bin's mean so far.
func (h *History) store() {
	if h.N > 0 {
		h.Levels[mod(h.Bin, historyBins)] = code(h.Sum / float64(h.N))
	}
}

func code(level float64) uint16 { return 1 + uint16(math.Round(level*levelScale)) }

func (h *History) addFine(at int64, level float64) {
	bin := (at - mod(at, fineBin)) / fineBin
	if bin > h.FineBin {
		for n := int64(0); n < fineBins && h.FineBin+n < bin; n++ {
			h.Fine[mod(h.FineBin+1+n, fineBins)] = 0
		}
		h.FineBin, h.FineSum, h.FineN = bin, 0, 0
	}
	h.FineSum += level
	h.FineN++
	h.Fine[mod(h.FineBin, fineBins)] = code(h.FineSum / float64(h.FineN))
}

func (h *History) add(at int64, level float64) {
	h.moveTo((at - mod(at, HistoryBin)) / HistoryBin)
	h.addFine(at, level)
	h.Sum += level
	h.N++
	h.store()
}

func (h *History) water(at int64, ml float64) {
	bin := (at - mod(at, HistoryBin)) / HistoryBin
	h.moveTo(bin)
	if h.Bin-bin < waterBins {
		h.Given[mod(bin, waterBins)] += float32(ml)
	}
}

// shift moves every level by step, within what is possible.
func (h *History) shift(step float64) {
	d := int(math.Round(step * levelScale))
	for _, codes := range [][]uint16{h.Levels[:], h.Fine[:]} {
		for i, v := range codes {
			if v != 0 {
				codes[i] = uint16(min(max(int(v)+d, 1), 1+levelScale))
			}
		}
	}
	h.Sum, h.N, h.FineSum, h.FineN = 0, 0, 0, 0
}

// bin returns the mean water content of a bin.
func (h *History) bin(b int64) (float64, bool) {
	if !h.Begun || b > h.Bin || b <= h.Bin-historyBins {
		return 0, false
	}
	v := h.Levels[mod(b, historyBins)]
	if v == 0 {
		return 0, false
	}
	return float64(v-1) / levelScale, true
}

// FineAt returns the water content of the last 24 h at a time, to five
// minutes, and false where it is not known as finely.
func (h *History) FineAt(atMs int64) (float64, bool) {
	bin := (atMs - mod(atMs, fineBin)) / fineBin
	if bin > h.FineBin || bin <= h.FineBin-fineBins {
		return 0, false
	}
	if v := h.Fine[mod(bin, fineBins)]; v != 0 {
		return float64(v-1) / levelScale, true
	}
	return 0, false
}

// bridgedBins is how many bins in a row without water content are bridged by a
// straight line: three quarters of an hour. Probes that read every quarter or
// half hour leave such holes all day, the more where their clock wanders.
const bridgedBins = 3

// near returns the mean water content of a bin, from its neighbours where
// it has none of its own.
func (h *History) near(b int64) (float64, bool) {
	if v, ok := h.bin(b); ok {
		return v, true
	}
	for before := int64(1); before <= bridgedBins; before++ {
		lo, ok := h.bin(b - before)
		if !ok {
			continue
		}
		for after := int64(1); before+after <= bridgedBins+1; after++ {
			if hi, ok := h.bin(b + after); ok {
				return lo + float64(before)/float64(before+after)*(hi-lo), true
			}
		}
		break
	}
	return 0, false
}

// broken tells whether the water content between from and to is interrupted
// for longer than can be bridged.
func (h *History) broken(from, to int64) bool {
	missing := 0
	for b := (from - mod(from, HistoryBin)) / HistoryBin; b < (to-mod(to, HistoryBin))/HistoryBin; b++ {
		if _, ok := h.bin(b); ok {
			missing = 0
		} else if missing++; missing > bridgedBins {
			return true
		}
	}
	return false
}

// LevelAt returns the water content at a time, between the middles of the
// bins on both sides of it, and false where nothing is known.
func (h *History) LevelAt(atMs int64) (float64, bool) {
	x := atMs - HistoryBin/2
	b := (x - mod(x, HistoryBin)) / HistoryBin
	f := float64(mod(x, HistoryBin)) / float64(HistoryBin)
	lo, ok1 := h.near(b)
	hi, ok2 := h.near(b + 1)
	switch {
	case ok1 && ok2:
		return lo + f*(hi-lo), true
	case ok1 && f <= 0.5:
		return lo, true
	case ok2 && f >= 0.5:
		return hi, true
	}
	return 0, false
}

// GivenBetween returns the water given from from to to, mL, by whole bins;
// both lie in the last day.
func (h *History) GivenBetween(from, to int64) float64 {
	sum := 0.0
	for b := (from - mod(from, HistoryBin)) / HistoryBin; b < (to-mod(to, HistoryBin))/HistoryBin; b++ {
		if b <= h.Bin && b > h.Bin-waterBins {
			sum += float64(h.Given[mod(b, waterBins)])
		}
	}
	return sum
}
