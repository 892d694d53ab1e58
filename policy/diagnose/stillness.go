package diagnose

import "math"

// Stillness is how long a probe has said the very same.
type Stillness struct {
	AtS       uint32 // of the newest reading, Unix seconds
	Value     float32
	Path      float32 // where the water should have come to meanwhile, m3/m3 from where it was
	Low, High float32 // the ends of that way
	Most      float32 // the longest such way that ended by itself
	Step      float32 // the least by which it ever changed, its resolution, m3/m3
	Drunk     float32 // by what its container fell meanwhile as its plant drank, m3/m3
	Repeat    uint16  // readings
	Aside     int8    // by how much the newest differs from Value, in asideStep
	Others    Others
}

// still follows along how long a way of the water each probe has said the very same.
// A coarse probe does that too, as long as its step lets it: shots and drinking that
// make up for each other move nothing, and a container that is full gets no fuller.
func (f *Fast) still(in *Inputs, base *Baselines) {
	r := &f.Recently
	uptake := usualUptake(in, base) * 300 / in.VolumeML
	came := math.Max(0, in.Water.TotalML-r.ShownML) / in.VolumeML * math.Min(math.Max(in.Learned.Capture, 0.3), 1)
	r.ShownML = in.Water.TotalML
	change := f.changes(in)
	for i := range in.Probes[:in.ProbeCount] {
		p, s := &in.Probes[i], r.Still.At(i)
		if !p.Heard {
			continue
		}
		s.Drunk += float32(uptake)
		if x, ok := change.others(i); !ok || float64(s.Value) > in.SaturationPoint {
			s.Others = Others{} // a container that stands full of water shows neither
		} else {
			s.Others.take(x, f.Probes.At(i).share(), s.Step)
		}
		room := math.Max(0, in.Learned.Capacity-0.005-float64(s.Value))
		s.Path = float32(math.Min(float64(s.Path)+came, math.Max(room, float64(s.Path))) - uptake)
		s.Low, s.High = min(s.Low, s.Path), max(s.High, s.Path)
		if uint32(p.AtMs/1000) <= s.AtS {
			continue // nothing new
		}
		s.AtS = uint32(p.AtMs / 1000)
		if math.Abs(p.Mean-float64(s.Value)) < sameLevel {
			s.Repeat = min(s.Repeat+1, 1000)
			s.Aside = int8(math.Round((p.Mean - float64(s.Value)) / asideStep))
			continue
		}
		if s.Repeat >= longStill && s.Repeat < 1000 && s.moved() < stillMost {
			s.Most = max(s.Most*0.999, s.moved())
		}
		if step := float32(math.Abs(p.Mean - float64(s.Value))); s.Value > 0 && (s.Step == 0 || step < s.Step) {
			s.Step = step
		}
		s.Value, s.Path, s.Low, s.High, s.Repeat = float32(p.Mean), 0, 0, 0, 0
		s.Drunk, s.Aside, s.Others = 0, 0, Others{}
	}
}

// moved is how far the water has come and gone, m3/m3.
func (s *Stillness) moved() float32 { return s.High - s.Low }

// stillMost is the movement through which no probe that is well says the very same,
// m3/m3: two steps of a coarse one.
const stillMost = 0.03

// sameLevel is how far apart levels are the very same, m3/m3: what is learned of a probe's
// offset moves its level while its readings stand still (common practice, no source).
const sameLevel = 0.0003

// asideStep is how finely the place of the newest level among the very same is kept, m3/m3.
const asideStep = sameLevel / 100

// newest is the newest level, m3/m3.
func (s *Stillness) newest() float32 { return s.Value + float32(s.Aside)*asideStep }

// longStill is how many readings in a row are the very same before that is counted:
// water that comes between one reading and the next is no stillness.
const longStill = 6

// dead tells a probe that has said the very same while the water must have moved
// well beyond all through which it ever did so.
func (s *Stillness) dead() bool {
	o, way := &s.Others, max(0.012, 2*s.Step)
	switch {
	case s.Repeat < 12:
		return false
	case o.Rises >= 2 && o.Falls >= 2 && s.Drunk >= 2*s.Step:
		return true
	}
	return s.moved() > max(way, 2*s.Most) && o.moved(way)
}

// frozen tells a probe that has said the very same for longer than it does when it is well.
func (s *Stillness) frozen() bool {
	o, way := &s.Others, s.frozenWay()
	switch {
	case s.Repeat < longStill:
		return false
	case o.Rises >= 1 && o.Falls >= 1 && s.Drunk >= legSteps*s.Step:
		return true
	}
	return s.moved() > max(way, 1.5*s.Most) && o.moved(way)
}

// frozenWay is the way of the water through which no probe that is well says the very same.
func (s *Stillness) frozenWay() float32 { return max(0.008, 1.5*s.Step) }
