package service

import (
	"rhizostat/service/intake"
	"rhizostat/service/site"
)

// newRouter tells the intake of the zones, climates, foreign topics and outputs of all
// sites. Zones and climates have the same places there as in the house.
func newRouter(root string, sites []*site.Site) (*intake.Router, error) {
	var zones []intake.Zone
	var climates []intake.ClimateID
	var mappings []intake.Mapping
	var outputs []intake.Output
	for _, st := range sites {
		for _, id := range st.Climates {
			climates = append(climates, intake.ClimateID{Site: st.Name, ID: id})
		}
		for i := range st.Zones {
			z := &st.Zones[i]
			in := intake.Zone{Site: st.Name, Zone: z.Settings.Zone, Climate: z.Settings.Climate, PercentIsHundredths: z.PercentIsHundredths}
			for _, p := range z.Settings.Probes {
				in.Probes = append(in.Probes, p.ID)
			}
			zones = append(zones, in)
		}
		for i := range st.Mappings {
			mappings = append(mappings, mapping(st.Name, &st.Mappings[i]))
		}
	}
	for _, o := range outputsOf(sites) {
		outputs = append(outputs, intake.Output{Site: sites[o.site].Name, Group: o.Group, EdgeNode: o.EdgeNode, Device: o.Device, Names: o.names()})
	}
	return intake.NewRouter(root, zones, climates, mappings, outputs...)
}

func mapping(siteName string, m *site.Mapping) intake.Mapping {
	out := intake.Mapping{
		Site: siteName, Topic: m.Topic, Zone: m.Zone, Probe: m.Probe, Climate: m.Climate, PercentIsHundredths: m.PercentIsHundredths,
	}
	for _, f := range m.JSON {
		out.JSON = append(out.JSON, intake.Field(f))
	}
	if m.Time != nil {
		t := intake.TimeField(*m.Time)
		out.Time = &t
	}
	if m.Number != nil {
		f := intake.Field(*m.Number)
		out.Number = &f
	}
	if s := m.Sparkplug; s != nil {
		out.Sparkplug = &intake.Metrics{Group: s.Group, EdgeNode: s.EdgeNode, Device: s.Device}
		for _, metric := range s.Metrics {
			out.Sparkplug.Metrics = append(out.Sparkplug.Metrics, intake.Metric{Name: metric.Name, Signal: metric.Signal, Unit: metric.Unit})
		}
	}
	return out
}
