package simulator

import "math"

// random is a small generator of its own: SplitMix64 (Steele, Lea & Flood 2014,
// OOPSLA, figure 16), whose state is one number, so that a copy of a facility
// goes on with the very same chances.
type random struct{ state uint64 }

// stream gives a generator for one purpose of a seed: two purposes never share
// their chances, so that one more probe does not change the weather.
func stream(seed uint64, purpose ...uint64) random {
	r := random{seed}
	for _, p := range purpose {
		r.state = r.next() ^ (p+1)*0x9e3779b97f4a7c15
	}
	return random{r.next()}
}

func (r *random) next() uint64 {
	r.state += 0x9e3779b97f4a7c15
	z := r.state
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// uniform gives a number in (0, 1).
func (r *random) uniform() float64 { return (float64(r.next()>>11) + 0.5) / (1 << 53) }

// between gives a number in (a, b).
func (r *random) between(a, b float64) float64 { return a + (b-a)*r.uniform() }

// normal gives a standard normal number (Box & Muller 1958; the second of the
// pair is dropped so that the state stays one number).
func (r *random) normal() float64 {
	return math.Sqrt(-2*math.Log(r.uniform())) * math.Cos(2*math.Pi*r.uniform())
}

// chance is true with probability p.
func (r *random) chance(p float64) bool { return p > 0 && r.uniform() < p }

// wander moves a first-order autoregressive number of unit variance over dt,
// both in s: x' = x rho + sqrt(1-rho^2) e with rho = exp(-dt/tau).
func (r *random) wander(x, dt, tau float64) float64 {
	rho := math.Exp(-dt / tau)
	return x*rho + math.Sqrt(1-rho*rho)*r.normal()
}
