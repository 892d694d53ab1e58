package report

import (
	"fmt"
	"math"
)

// drawColumns is a panel for each state: what of each height is water, air and
// solids, and its numbers below.
func (z ProfilePicture) drawColumns(k canvas) {
	p := z.Profile
	airy := p.TotalPorosity() - z.Aeration.CriticalAirFilledPorosity
	for i, w := range z.wetnesses() {
		f := plane{x: 592 + 118*float64(i), y: profileTop, width: 100, height: profileTall, left: 0, right: 1, bottom: 0, top: p.Container().HeightCM}
		water := z.curve(f, w.mean)
		k.hint(fmt.Sprintf("%s: water from the left, then air, then solids", w.name))
		k.area(append([]point{f.at(0, 0)}, append(water, f.at(0, f.top))...), colour{blue, 0.5})
		z.hatchTooWet(k, f, w.mean, airy)
		pores := f.at(p.TotalPorosity(), f.top)
		hatch(k, pores.x, pores.y, f.x+f.width-pores.x, f.height, 7, solidsPen)
		k.line([]point{f.at(p.TotalPorosity(), 0), pores}, pen{colour: solid(grey), width: 1})
		k.line(water, w.pen)
		k.hint("")
		columnGrid(k, f)
		f.border(k)
		z.columnWords(k, f, w)
	}
}

// hatchTooWet marks the air of the heights that have too little of it.
func (z ProfilePicture) hatchTooWet(k canvas, f plane, mean, airy float64) {
	const rows = 85 // 4 px each
	tall := f.height / rows
	for i := range rows {
		h := f.top * (1 - (float64(i)+0.5)/rows)
		water := z.Profile.WaterContentAt(mean, h)
		if water <= airy {
			continue
		}
		a, b := f.at(water, h), f.at(z.Profile.TotalPorosity(), h)
		hatch(k, a.x, f.y+float64(i)*tall, b.x-a.x, tall, 6, tooWetPen)
	}
}

// columnWords names a panel and gives its numbers.
func (z ProfilePicture) columnWords(k canvas, f plane, w wetness) {
	p := z.Profile
	middle := f.x + f.width/2
	k.text(point{middle, f.y - 10}, font{colour: solid(black), size: 12, anchor: middleAt, bold: true}, w.name)
	// The words stand where their part is wide enough, water low and air high.
	wet, dry := f.at(p.WaterContentAt(w.mean, 0.15*f.top), 0.15*f.top), f.at(p.WaterContentAt(w.mean, 0.85*f.top), 0.85*f.top)
	inside := font{colour: solid(black), size: 11, anchor: middleAt}
	if wide := wet.x - f.x; wide > 36 {
		k.text(point{f.x + wide/2, wet.y}, inside, "water")
	}
	if wide := f.at(p.TotalPorosity(), 0).x - dry.x; wide > 24 {
		k.text(point{dry.x + wide/2, dry.y}, inside, "air")
	}
	for i, s := range []string{
		"m3/m3",
		fmt.Sprintf("water %.0f mL", w.mean*p.VolumeML()),
		fmt.Sprintf("air %.3f", p.AirFilledPorosity(w.mean)),
		fmt.Sprintf("suction %.2f kPa", math.Max(0, p.MeanSuctionKPa(w.mean))),
		fmt.Sprintf("short of air %.0f %%", 100*p.SaturatedShare(w.mean, z.Aeration.CriticalAirFilledPorosity)),
	} {
		k.text(point{middle, f.y + f.height + 30 + 16*float64(i)}, font{colour: solid(0x333333), size: 11.5, anchor: middleAt}, s)
	}
}

// columnGrid is the grid of a narrow panel, its numbers short so that they keep
// clear of the neighbour's.
func columnGrid(k canvas, f plane) {
	line := pen{colour: solid(faint), width: 1}
	for _, v := range []float64{0, 0.5, 1} {
		at := f.at(v, 0)
		k.line([]point{at, f.at(v, f.top)}, line)
		k.text(point{at.x, at.y + 15}, font{colour: solid(0x333333), size: 11, anchor: middleAt}, fmt.Sprintf("%g", v))
	}
	for _, h := range ticks(0, f.top, 8) {
		k.line([]point{f.at(0, h), f.at(1, h)}, line)
	}
}
