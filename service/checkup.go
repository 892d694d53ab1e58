package service

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/service/intake"
	"rhizostat/service/report"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

// Check reads site files and prints every mistake in them, or what the physics
// makes of each zone. The error says how many mistakes there are.
func Check(patterns []string, out, problems io.Writer) ([]*site.Site, error) {
	var sites []*site.Site
	mistakes := 0
	for _, pattern := range patterns {
		if _, err := os.Stat(pattern); err != nil {
			if some, _ := filepath.Glob(pattern); len(some) == 0 { // no glob either
				return nil, usage{fmt.Errorf("check: %w; expected a site file, a folder or a glob", err)}
			}
		}
		found, said := site.Reader{Unit: intake.CheckUnit}.Load(pattern)
		if text := said.String(); text != "" {
			if _, err := fmt.Fprintln(problems, text); err != nil {
				return nil, err
			}
		}
		mistakes += said.Mistakes()
		sites = append(sites, found...)
	}
	if mistakes > 0 {
		word := "mistakes"
		if mistakes == 1 {
			word = "mistake"
		}
		return nil, usage{fmt.Errorf("check: %d %s; correct the lines above and check again", mistakes, word)}
	}
	if err := oneWriter(sites); err != nil {
		return nil, usage{fmt.Errorf("check: %w", err)}
	}
	var zones []report.CheckedZone
	for _, st := range sites {
		if _, err := newRouter("rhizostat", []*site.Site{st}); err != nil {
			return nil, usage{err}
		}
		for i := range st.Zones {
			zones = append(zones, report.CheckedZone{Settings: &st.Zones[i].Settings, PercentIsHundredths: st.Zones[i].PercentIsHundredths})
		}
	}
	if err := report.Check(out, zones); err != nil {
		return nil, err
	}
	return sites, report.CheckEdges(out, edgesOf(sites))
}

// edgesOf are the edge nodes and devices that site files read or write.
func edgesOf(sites []*site.Site) []report.CheckedEdge {
	var edges []report.CheckedEdge
	for _, st := range sites {
		for i := range st.Mappings {
			s := st.Mappings[i].Sparkplug
			if s == nil {
				continue
			}
			e := report.CheckedEdge{Site: st.Name, Place: strings.TrimSuffix(s.Group+"/"+s.EdgeNode+"/"+s.Device, "/")}
			for _, m := range s.Metrics {
				what := m.Signal.String()
				if m.Unit != "" {
					what += ", " + m.Unit
				}
				e.Metrics = append(e.Metrics, report.CheckedMetric{Name: m.Name, What: what})
			}
			edges = append(edges, e)
		}
	}
	for _, o := range outputsOf(sites) {
		e := report.CheckedEdge{Site: sites[o.site].Name, Writes: o.Topic(), Zones: o.zones}
		for _, m := range o.Metrics {
			e.Metrics = append(e.Metrics, report.CheckedMetric{Name: m.Metric, What: m.Setpoint + ", " + wire.SetpointType(m.Setpoint).String()})
			e.Expires = e.Expires || m.Setpoint == "valid_until"
		}
		edges = append(edges, e)
	}
	return edges
}

// Chart draws what the physics makes of one zone of the checked sites.
func Chart(sites []*site.Site, zone string, w io.Writer) error {
	s, err := pick(sites, zone)
	if err != nil {
		return err
	}
	profile, err := hydraulics.NewProfile(s.Substrate, s.Container)
	if err != nil {
		return err
	}
	band, err := hydraulics.NewBand(profile, s.Band)
	if err != nil {
		return err
	}
	picture := report.ProfilePicture{Title: s.Site + " " + s.Zone, Profile: profile, Band: band, Aeration: s.Aeration}
	for _, p := range s.Probes {
		picture.Probes = append(picture.Probes, report.ProfileProbe{ID: p.ID, HeightCM: p.HeightCM, SensingLengthCM: p.SensingLengthCM})
	}
	return report.ProfileChart(w, picture)
}

// pick finds a zone by its id; with one zone in all it may be left out.
func pick(sites []*site.Site, zone string) (*policy.Settings, error) {
	var all []*policy.Settings
	for _, st := range sites {
		for i := range st.Zones {
			if zone == "" || st.Zones[i].Settings.Zone == zone {
				all = append(all, &st.Zones[i].Settings)
			}
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].Zone < all[j].Zone })
	switch {
	case len(all) == 1:
		return all[0], nil
	case len(all) == 0:
		return nil, usage{fmt.Errorf("zone %q is in none of the site files", zone)}
	case zone == "":
		return nil, usage{fmt.Errorf("%d zones; expected one: name it with --zone", len(all))}
	}
	return nil, usage{fmt.Errorf("zone %q is in %d sites; check one site file at a time", zone, len(all))}
}
