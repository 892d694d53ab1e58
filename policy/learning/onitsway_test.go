package learning

import (
	"math"
	"testing"
)

// A controller that goes by the water content of a zone whose probe lies deep gives a
// shot or two over its target, and not shots until the first one shows.
func TestWaterOnItsWayIsNotGivenAgain(t *testing.T) {
	for _, late := range []int64{0, 20, 40} { // min
		p := newPot(9)
		p.level = 0.5
		c := potConstants(p)
		var z Zone
		z.Observe(c, p.at, p.reading(), p.noise)
		levels := []float64{}
		highest := 0.0
		p.at += 7 * hourMs
		z.Advance(c, p.at)
		last := int64(0)
		for range 5 * 12 { // 07:00 to 12:00, every five minutes
			levels = append(levels, p.reading())
			z.Observe(c, p.at, levels[max(0, len(levels)-1-int(late/5))], p.noise)
			if z.Level < 0.54 && p.at-last >= 15*minuteMs {
				z.Water(c, p.at, 140, true)
				p.shot(140)
				last = p.at
			}
			highest = math.Max(highest, p.level)
			p.run(p.at + 5*minuteMs)
		}
		t.Logf("%d min late: highest %.3f, believed %.3f of %.3f", late, highest, z.Level, p.level)
		if highest > 0.54+0.02+0.01 { // a shot, and half of one
			t.Errorf("%d min late: filled to %.3f; expected at most a shot of 0.017 above 0.540", late, highest)
		}
	}
}

// Water that does not come, through blocked emitters, is not believed to be on its way
// shot after shot.
func TestWaterThatNeverComesIsNotOnItsWay(t *testing.T) {
	p := newPot(10)
	p.level = 0.55
	c := potConstants(p)
	var z Zone
	g := &grower{trigger: 0.54, ml: 200}
	play(p, g, &z, c, 2, 5*minuteMs, true, true, nil)
	p.capture = 0.05
	highest, shots := 0.0, 0
	last := p.given
	p.run(p.at + 7*hourMs)
	for range 5 * 12 {
		play(p, g, &z, c, 1./24/12, 5*minuteMs, true, true, nil)
		if p.given > last {
			last = p.given
			shots++
		}
		if shots > 3 {
			highest = math.Max(highest, z.Level-p.level)
		}
	}
	if shots < 6 || highest > 0.01 {
		t.Errorf("after %d shots that did not come the zone is believed up to %.3f m3/m3 above what it is", shots, highest)
	}
}

// Water that shows before it is told of, as at a probe beside an emitter, comes once.
func TestWaterThatShowsBeforeItIsToldComesOnce(t *testing.T) {
	for _, told := range []int64{-1, 0, 4} { // min after it shows; -1: at the same instant, and first
		p := newPot(11)
		p.level, p.noise = 0.5, 0.0005
		c := potConstants(p)
		var z Zone
		for range 24 {
			z.Observe(c, p.at, p.reading(), p.noise)
			p.run(p.at + 5*minuteMs)
		}
		p.shot(200)
		if told < 0 {
			z.Water(c, p.at, 200, true)
		}
		z.Observe(c, p.at, p.reading(), p.noise)
		if told >= 0 {
			z.Water(c, p.at+told*minuteMs, 200, true)
		}
		highest := 0.0
		for range 9 { // until the next reading, of a probe that tells each ten minutes
			z.Advance(c, z.AtMs+minuteMs)
			highest = math.Max(highest, z.Level)
		}
		if rise := z.Capture.Mean * 200 / z.Volume(c); highest > p.level+0.3*rise {
			t.Errorf("told %d min after it shows: believed up to %.4f, and there is %.4f with a shot of %.4f in it", told, highest, p.level, rise)
		}
	}
}
