package forecast

import "math"

// Way is one way in which the coming day may go: water given, and uptake as a
// share of what is expected. The weights of all ways sum to 1.
type Way struct {
	Weight, Uptake float64
	Shots          []Shot // in order of their steps
}

// Thirst are the uptakes of a coming day that stand for all, as standard normal
// quantiles: the middles of the fifths of their distribution, each as likely as
// the others.
var Thirst = [5]float64{-1.2816, -0.5244, 0, 0.5244, 1.2816}

// UptakeAt is the share of the expected uptake at a quantile of Thirst, where a
// day strays from it by relSD as a share. It is lognormal, as uptake is learned.
func UptakeAt(quantile, relSD float64) float64 { return math.Exp(quantile * math.Log1p(relSD)) }

// planned is what the ways give until a horizon, mL: on average, and the least
// and the most of them.
type planned struct{ mean, least, most float64 }

// expect runs all ways and writes the mean of their water contents to out.
func (s *Situation) expect(ways []Way, run *Run, out []float64) {
	for k := range out {
		out[k] = 0
	}
	for i := range ways {
		w := &ways[i]
		s.forward(w.Uptake, w.Shots, run)
		for k := range out {
			out[k] += w.Weight * run.WaterContent[k]
		}
	}
	out[0] = s.WaterContent
}

// plannedTo is what the ways give before a step.
func plannedTo(ways []Way, step int) planned {
	p := planned{least: math.Inf(1)}
	for i := range ways {
		sum := 0.0
		for _, shot := range ways[i].Shots {
			if shot.Step >= step {
				break
			}
			sum += shot.VolumeML
		}
		p.mean += ways[i].Weight * sum
		p.least, p.most = math.Min(p.least, sum), math.Max(p.most, sum)
	}
	return p
}
