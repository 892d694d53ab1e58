package simulator

// salts is the salt of a container by layer as mL times mS/cm: electrical
// conductivity stands in for mass (linear).
type salts [layers]float64

// move carries salt with the water that crossed the edges during a step and
// gives what left through the bottom. Implicit and upstream, so that nothing
// turns negative and the balance closes whatever the step:
//
//	w_i c_i = m_i + in - out, with c of the layer the water came from.
//
// w is the water after the step, mL; fed the salt that soaked in on top, into
// what came with sources (bypassing water); uptake is the salt the crop took by
// layer, at most what is there.
func (m *salts) move(w *[layers]float64, f *flows, fed float64, into, uptake *[layers]float64) float64 {
	var upper, x [layers]float64
	for i := range layers {
		down, up := f.edge[i], f.edge[i+1]
		diagonal := max(w[i], 1e-9) + max(down, 0) + max(-up, 0)
		right := m[i] + into[i] - min(uptake[i], m[i]+into[i])
		if i == layers-1 {
			diagonal -= max(-up, 0)
			right += fed
		}
		above := -max(up, 0)    // what comes down from i+1
		below := -max(-down, 0) // what rises from i-1
		if i == layers-1 {
			above = 0
		}
		if i == 0 {
			below = 0
		}
		if i > 0 {
			diagonal -= below * upper[i-1]
			right -= below * x[i-1]
		}
		upper[i], x[i] = above/diagonal, right/diagonal
	}
	for i := layers - 2; i >= 0; i-- {
		x[i] -= upper[i] * x[i+1]
	}
	for i := range m {
		m[i] = x[i] * max(w[i], 1e-9)
	}
	return max(f.edge[0], 0) * x[0]
}

// total is the salt in the container, mL mS/cm.
func (m *salts) total() float64 {
	sum := 0.0
	for _, v := range m {
		sum += v
	}
	return sum
}
