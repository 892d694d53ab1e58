package service

import (
	"slices"

	"rhizostat/service/link"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

// reload reads the site files anew and tries whether zones can be made of them,
// before anything of the old ones is given up.
func (s *Service) reload() ([]*site.Site, error) {
	sites, err := loadSites(s.Settings.Sites, s.Log)
	if err != nil {
		return nil, err
	}
	_, err = build(s.Settings, sites, 1, s.Log)
	return sites, err
}

// stay lets the sites that are served on after a reload stay online meanwhile:
// their offline would call a standby. The others end for good.
func stay(h *house, l *link.Link, next []*site.Site) {
	for i, old := range h.sites {
		if slices.ContainsFunc(next, func(st *site.Site) bool { return st.Name == old.Name }) {
			l.Stay(i)
		} else {
			l.Quit(i)
		}
	}
}

// left take back what stands for zones that their site no longer has, by site. What the
// broker shows on the next connection would tell of it too, but a controller should not
// have to wait for that.
func left(h *house, next []*site.Site) map[string][]wire.Message {
	out := map[string][]wire.Message{}
	for _, st := range next {
		stays := map[string]bool{}
		for i := range st.Zones {
			stays[st.Zones[i].Settings.Zone] = true
		}
		for _, w := range h.workers {
			zone := w.settings.Zone
			if w.settings.Site != st.Name || stays[zone] {
				continue
			}
			for _, topic := range wire.StandingTopics(w.topics, zone) {
				if _, known := w.published.on(topic); known {
					out[st.Name] = append(out[st.Name], wire.Message{Topic: topic, QoS: 1, Retain: true})
				}
			}
			for _, topic := range []string{w.topics.State(zone), w.topics.Forecast(zone)} {
				out[st.Name] = append(out[st.Name], wire.Message{Topic: topic, QoS: 1, Retain: true})
			}
		}
	}
	return out
}
