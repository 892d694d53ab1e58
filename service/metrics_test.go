package service

import (
	"bytes"
	"regexp"
	"slices"
	"testing"

	"rhizostat/service/site"
)

// A site that a reload takes away takes its count of zones with it.
func TestTheZonesOfASiteThatIsGone(t *testing.T) {
	m := newMetrics("test")
	for _, sites := range [][]string{{"north", "south"}, {"south"}, {"east", "south"}, nil} {
		h := new(house)
		for _, name := range sites {
			h.sites = append(h.sites, &site.Site{Name: name, Zones: make([]site.Zone, 3)})
		}
		m.house(h)
		var out bytes.Buffer
		if err := m.Expose(&out); err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, found := range regexp.MustCompile(`rhizostat_zones\{site="([^"]*)"\} 3`).FindAllStringSubmatch(out.String(), -1) {
			got = append(got, found[1])
		}
		if !slices.Equal(got, sites) {
			t.Errorf("zones of %q are shown, want %q", got, sites)
		}
	}
}
