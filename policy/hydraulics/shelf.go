package hydraulics

// Shelf keeps the tables of the kinds of zone it was asked for, so that zones
// of one kind share them: a profile takes some 2 ms and 12 kB, a facility of
// thousands of zones has a handful of kinds. A Shelf is the asker's own: it is
// not for several goroutines at once, but what it hands out is.
type Shelf struct {
	profiles map[kind]*Profile
	probes   map[position]*ProbeTable
	below    *Shelf // what it has is not made again; nil: none
}

// Above returns an empty shelf that hands out what s has, and keeps only what s has not.
// While several goroutines ask, each a shelf of its own, nobody may ask s itself.
func (s *Shelf) Above() *Shelf { return &Shelf{below: s} }

// kind is what a profile depends on, position what a probe's table does.
type (
	kind struct {
		substrate Substrate
		container Container
	}
	position struct {
		profile            *Profile
		heightCM, lengthCM float64
	}
)

// shelfRoom bounds each map: people move probes to any height, and a shelf
// lives as long as the daemon. Past it, tables are made and not kept.
const shelfRoom = 4096

// Profile returns what NewProfile does, the same one each time.
func (s *Shelf) Profile(substrate Substrate, container Container) (*Profile, error) {
	k := kind{substrate, container}
	if p, ok := s.profiles[k]; ok {
		return p, nil
	}
	if s.below != nil {
		if p, ok := s.below.profiles[k]; ok {
			return p, nil
		}
	}
	p, err := NewProfile(substrate, container)
	if err != nil {
		return nil, err
	}
	if s.profiles == nil {
		s.profiles = map[kind]*Profile{}
	}
	if len(s.profiles) < shelfRoom {
		s.profiles[k] = p
	}
	return p, nil
}

// Probe returns what p.Probe does, the same one each time.
func (s *Shelf) Probe(p *Profile, heightCM, sensingLengthCM float64) (*ProbeTable, error) {
	k := position{p, heightCM, sensingLengthCM}
	if t, ok := s.probes[k]; ok {
		return t, nil
	}
	if s.below != nil {
		if t, ok := s.below.probes[k]; ok {
			return t, nil
		}
	}
	t, err := p.Probe(heightCM, sensingLengthCM)
	if err != nil {
		return nil, err
	}
	if s.probes == nil {
		s.probes = map[position]*ProbeTable{}
	}
	if len(s.probes) < shelfRoom {
		s.probes[k] = t
	}
	return t, nil
}
