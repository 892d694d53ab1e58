package simulator

// Truth is how a zone really is, the mean over its containers.
type Truth struct {
	WaterContent      float64 // m3/m3
	AirFilledPorosity float64 // m3/m3
	PoreEC            float64 // mS/cm
	SubstrateCel      float64
	LeafArea          float64
	Rooted            float64 // 0 to 1
	WetRoots          float64 // 0 to 1, breath lost
	Sums                      // since the start
}

// Truth tells how a zone is at Now.
func (f *Facility) Truth(index int) Truth {
	z := &f.zones[index]
	f.settle(z)
	t := Truth{Sums: z.sums()}
	n := float64(len(z.pots))
	for i := range z.pots {
		p := &z.pots[i]
		t.WaterContent += p.meanContent() / n
		t.AirFilledPorosity += (p.porous - p.meanContent()) / n
		t.PoreEC += p.poreEC() / n
		t.SubstrateCel += p.cel / n
		t.LeafArea += p.leaf / n
		t.Rooted += p.rooted / n
		t.WetRoots += p.wet / n
	}
	return t
}

// settle brings resting containers up to Now.
func (f *Facility) settle(z *zone) {
	for i := range z.pots {
		e := effectsOn(f.faults, z.index, i, f.now)
		z.pots[i].catchUp(z.spec, f.air, &e)
	}
}

// SaturatedShare is the share of a zone's volume with less air than critical,
// m3/m3.
func (f *Facility) SaturatedShare(index int, critical float64) float64 {
	z := &f.zones[index]
	f.settle(z)
	sum := 0.0
	for i := range z.pots {
		sum += z.pots[i].saturatedShare(critical)
	}
	return sum / float64(len(z.pots))
}

// Content is the water content of one container of a zone, m3/m3.
func (f *Facility) Content(index, container int) float64 {
	f.settle(&f.zones[index])
	return f.zones[index].pots[container].meanContent()
}

// Running reports whether a zone's shot still runs.
func (f *Facility) Running(index int) bool { return f.zones[index].openTill > f.now }

// Capacity is the water content of a zone that was soaked and then drained for
// drainS seconds without a plant, m3/m3: its apparent container capacity. The
// zone itself is left as it is.
func (f *Facility) Capacity(index int, drainS float64) float64 {
	z := &f.zones[index]
	sum := 0.0
	for i := range z.pots {
		s := z.pots[i].soil // a copy
		s.soak()
		s.dt = 1
		var none [layers]float64
		s.advance(drainS, &none, 0)
		sum += s.water() / s.g.total
	}
	return sum / float64(len(z.pots))
}

// Porosity is the total porosity of a zone now, roots and faults taken off,
// m3/m3.
func (f *Facility) Porosity(index int) float64 {
	z := &f.zones[index]
	sum := 0.0
	for i := range z.pots {
		sum += z.pots[i].porous
	}
	return sum / float64(len(z.pots))
}
