package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// probeMark is what the probes at one height read at the edges of the band.
type probeMark struct {
	ids                []string
	heightCM, lengthCM float64
	full, refill       float64 // m3/m3
}

// probeMarks works the readings out, those at one place together, from the
// lowest up.
func (z ProfilePicture) probeMarks() ([]probeMark, error) {
	var marks []probeMark
	for _, p := range z.Probes {
		t, err := z.Profile.Probe(p.HeightCM, p.SensingLengthCM)
		if err != nil {
			return nil, fmt.Errorf("probe %s: %w", p.ID, err)
		}
		i := slices.IndexFunc(marks, func(m probeMark) bool { return m.heightCM == p.HeightCM && m.lengthCM == p.SensingLengthCM })
		if i < 0 {
			marks = append(marks, probeMark{heightCM: p.HeightCM, lengthCM: p.SensingLengthCM, full: t.Reading(z.Band.FullPoint), refill: t.Reading(z.Band.RefillPoint)})
			i = len(marks) - 1
		}
		marks[i].ids = append(marks[i].ids, p.ID)
	}
	slices.SortStableFunc(marks, func(a, b probeMark) int {
		if a.heightCM < b.heightCM {
			return -1
		}
		if a.heightCM > b.heightCM {
			return 1
		}
		return 0
	})
	for i := range marks {
		slices.Sort(marks[i].ids)
	}
	return marks, nil
}

// names are the ids of a mark in what a label has room for.
func (m probeMark) names() string {
	const room = 13
	for n := len(m.ids); n > 0; n-- {
		s := strings.Join(m.ids[:n], ", ")
		if n < len(m.ids) {
			s += fmt.Sprintf(" +%d", len(m.ids)-n)
		}
		if len(s) <= room {
			return s
		}
	}
	s := m.ids[0]
	if len(s) > room-4 {
		s = s[:room-5] + ".."
	}
	if len(m.ids) > 1 {
		s += fmt.Sprintf(" +%d", len(m.ids)-1)
	}
	return s
}

// drawProbeMarks draws for each place a bar from the reading at the refill
// point to that at the full point, as tall as the probe senses, and its name and
// readings beside the panel, pushed apart where places are close.
func drawProbeMarks(k canvas, f plane, marks []probeMark) {
	const gap = 26 // px a label takes
	labels := labelPlaces(f, marks, gap)
	for i, m := range marks {
		low, high := f.at(m.refill, m.heightCM), f.at(m.full, m.heightCM)
		k.hint(fmt.Sprintf("%s at %.4g cm reads %.3f at the refill point, %.3f at the full point", strings.Join(m.ids, ", "), m.heightCM, m.refill, m.full))
		bar := pen{colour: solid(black), width: 2}
		k.line([]point{low, high}, bar)
		half := math.Max(4, f.height*m.lengthCM/2/(f.top-f.bottom))
		for _, end := range []point{low, high} {
			k.line([]point{{end.x, end.y - half}, {end.x, end.y + half}}, bar)
		}
		k.area(circle(point{(low.x + high.x) / 2, low.y}, 4), solid(black))
		right := f.x + f.width
		k.line([]point{{high.x + 5, high.y}, {right, high.y}, {right + 10, labels[i]}}, pen{colour: solid(grey), width: 0.8, dash: []float64{1, 2}})
		k.text(point{right + 13, labels[i]}, font{colour: solid(black), size: 11, bold: true}, m.names())
		k.text(point{right + 13, labels[i] + 12}, font{colour: solid(0x333333), size: 11}, fmt.Sprintf("%.3f to %.3f", m.refill, m.full))
	}
	k.hint("")
}

// labelPlaces are the upright places of the labels, each at its own height where
// there is room, at least gap apart, and within the panel.
func labelPlaces(f plane, marks []probeMark, gap float64) []float64 {
	at := make([]float64, len(marks))
	floor := f.y + f.height - 12
	for i, m := range marks { // from the lowest up the picture
		at[i] = math.Min(f.at(0, m.heightCM).y, floor)
		floor = at[i] - gap
	}
	ceiling := f.y + 8
	for i := len(at) - 1; i >= 0 && at[i] < ceiling; i-- {
		at[i] = ceiling
		ceiling += gap
	}
	return at
}
