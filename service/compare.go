package service

import (
	"fmt"
	"io"
	"sort"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/diagnose"
	"rhizostat/policy/hydraulics"
	"rhizostat/service/report"
	"rhizostat/service/site"
)

// step is by how much the made-up choices differ from the zone's own: a quarter
// taller or wider, a mix whose pores are half as wide again.
const step = 1.25

// coarser widens the pores of a mix: the suction that empties a pore falls as its
// width grows.
const coarser = 1.5

// Compare prints what other containers and substrates would make of a zone:
// those of its site file, and a taller, a wider and a coarser one.
func Compare(sites []*site.Site, zone string, uptakeML float64, w io.Writer) error {
	s, err := pick(sites, zone)
	if err != nil {
		return err
	}
	use := diagnose.Use{Band: s.Band, Aeration: s.Aeration, UptakeML: uptakeML, DryShare: diagnose.NightShare(daytimeH(s))}
	compared, err := diagnose.Compare(choices(s), use)
	if err != nil {
		return usage{err}
	}
	return report.Compare(w, s.Site+": zone "+s.Zone, compared, use)
}

// daytimeH is how long a zone's daytime is, h, over a year: where it goes by the sun, the
// mean of one day of each month.
func daytimeH(s *policy.Settings) float64 {
	sum := 0.0
	for month := time.January; month <= time.December; month++ {
		day := s.DayAt(time.Date(2026, month, 21, 12, 0, 0, 0, s.Location))
		sum += day.DaytimeEnd.Sub(day.Start).Hours()
	}
	return sum / 12
}

// choices are the zone's own and what it could be instead.
func choices(s *policy.Settings) []diagnose.Choice {
	own := diagnose.Choice{Name: s.Substrate.Name + " in " + s.Container.Name, Substrate: s.Substrate, Container: s.Container}
	out := []diagnose.Choice{own}
	change := func(name string, c hydraulics.Container, sub hydraulics.Substrate) {
		if c.Validate() == nil && sub.Validate() == nil {
			out = append(out, diagnose.Choice{Name: name, Substrate: sub, Container: c})
		}
	}
	taller := s.Container
	taller.HeightCM *= step
	change("a quarter taller", taller, s.Substrate)
	wider := s.Container
	for _, side := range []*float64{&wider.TopDiameterCM, &wider.BottomDiameterCM, &wider.LengthCM, &wider.BottomLengthCM} {
		*side *= step
	}
	change("a quarter wider", wider, s.Substrate)
	mix := s.Substrate
	mix.Retention.AlphaPerKPa *= coarser
	change(fmt.Sprintf("pores %g times as wide", coarser), s.Container, mix)
	for _, name := range names(s.Containers) {
		if c := s.Containers[name]; c != s.Container {
			change(s.Substrate.Name+" in "+name, c, s.Substrate)
		}
	}
	for _, name := range names(s.Substrates) {
		if sub := s.Substrates[name]; sub.Name != s.Substrate.Name && sub.Provenance != hydraulics.Published {
			change(name+" in "+s.Container.Name, s.Container, sub)
		}
	}
	return out
}

func names[T any](m map[string]T) []string {
	var out []string
	for name := range m {
		out = append(out, name)
	}
	sort.Strings(out)
	return out
}
