package diagnose

// A zone that one probe speaks for, or two, is seen at another place once one of them is
// moved: a shot and the crop move what is read there by another share of what they do to the
// whole container, water stands over its rest for longer or not at all, and salt lies in layers.
// What was usual was so of the place before. Of three or more the others go on telling.

// seenElsewhere lets what is usual be learned anew; of the only probe, all of it.
func (m *Memory) seenElsewhere() {
	f, b := &m.Fast, &m.Baselines
	f.Shots, f.Kept = ShotTest{}, KeptWatch{}
	f.Fall.FromMs, f.Fall.Past, f.Fall.Usual, f.Fall.Elsewhere = 0, Fallen{}, Share{}, Elsewhere{}
	m.Size = Size{AskedMs: m.Size.AskedMs}
	m.Today = Collector{}
	if f.Speaks <= 1 {
		*b = Baselines{}
		return
	}
	for _, k := range [...]Feature{Rise, Over, UptakeDay, UptakeNight, Droop, DrainTime, PoreEC, Salt, SaltRise} {
		b.Of[k] = Baseline{}
	}
	b.Salts = Salts{}
}

// levelDoubt is how far from what it was a level lies that is seen by other probes, once it
// was moved by how far they read apart at one time, m3/m3 (common practice, no source).
const levelDoubt = 0.015

// Releveled takes that the water content is another by step, m3/m3, because other probes tell it
// or they have another place: usual levels go with it, though less surely so.
func (m *Memory) Releveled(step float64) {
	for _, k := range [...]Feature{Peak, Plateau, Rest} {
		if b := &m.Baselines.Of[k]; b.Days > 0 {
			b.Mean += float32(step)
			b.Now += float32(step)
			b.Var += levelDoubt * levelDoubt
		}
	}
	m.Fast.Lifted = Lifted{}
	m.Today.Peak, m.Today.Rest, m.Today.Begin = 0, 0, m.Today.Begin+float32(step)
}
