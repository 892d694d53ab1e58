package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"

	"rhizostat/policy/hydraulics"
)

func profilePicture(t *testing.T, s hydraulics.Substrate, c hydraulics.Container, spec hydraulics.BandSpec, probes ...ProfileProbe) ProfilePicture {
	t.Helper()
	p, err := hydraulics.NewProfile(s, c)
	if err != nil {
		t.Fatal(err)
	}
	band, err := hydraulics.NewBand(p, spec)
	if err != nil {
		t.Fatal(err)
	}
	return ProfilePicture{Title: "north: zone bench-07", Profile: p, Band: band, Aeration: hydraulics.DefaultAeration, Probes: probes}
}

func coirPicture(t *testing.T, probes ...ProfileProbe) ProfilePicture {
	s := hydraulics.Substrate{Name: "coir-mix", TotalPorosity: 0.92, Retention: hydraulics.Retention{ThetaR: 0.08, ThetaS: 0.90, AlphaPerKPa: 1.6, N: 1.75}}
	c := hydraulics.Container{Name: "pot-7l", HeightCM: 20, TopDiameterCM: 24, BottomDiameterCM: 18}
	return profilePicture(t, s, c, hydraulics.BandSpec{}, probes...)
}

func drawnProfile(t *testing.T, z ProfilePicture) string {
	t.Helper()
	var b bytes.Buffer
	if err := ProfileChart(&b, z); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestProfileChartSays holds the words and numbers in the picture against the
// physics, and the picture against XML.
func TestProfileChartSays(t *testing.T) {
	z := coirPicture(t, ProfileProbe{"p1", 7, 0}, ProfileProbe{"p2", 7, 0}, ProfileProbe{"p3", 14, 5})
	svg := drawnProfile(t, z)
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	probe, err := z.Profile.Probe(7, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		fmt.Sprintf("container capacity %.3f", z.Profile.ContainerCapacity()),
		fmt.Sprintf("full point %.3f", z.Band.FullPoint),
		fmt.Sprintf("refill point %.3f", z.Band.RefillPoint),
		"height above the bottom, cm", "m3/m3", "p1, p2", "p3",
		fmt.Sprintf("%.3f to %.3f", probe.Reading(z.Band.RefillPoint), probe.Reading(z.Band.FullPoint)),
		"aeration margin", "root zone at 30 Cel", "stroke-dasharray",
	} {
		if !strings.Contains(svg, want) {
			t.Errorf("the picture does not say %q", want)
		}
	}
	if svg != drawnProfile(t, z) {
		t.Error("drawn twice, it differs")
	}
}

// TestProfileChartIsInside: nothing is drawn outside of the picture, whatever
// the container.
func TestProfileChartIsInside(t *testing.T) {
	wool, _ := hydraulics.BuiltIn("stone-wool")
	peat, _ := hydraulics.BuiltIn("peat")
	many := []ProfileProbe{}
	for i := range 16 {
		many = append(many, ProfileProbe{fmt.Sprintf("a-rather-long-name-%d", i), 0.4 * float64(i), 0})
	}
	for name, z := range map[string]ProfilePicture{
		"slab":  profilePicture(t, wool, hydraulics.Container{HeightCM: 7.5, LengthCM: 100, WidthCM: 15}, hydraulics.BandSpec{}, many...),
		"plug":  profilePicture(t, peat, hydraulics.Container{HeightCM: 3, TopDiameterCM: 3, BottomDiameterCM: 2}, hydraulics.BandSpec{}),
		"tower": profilePicture(t, peat, hydraulics.Container{HeightCM: 60, TopDiameterCM: 30, BottomDiameterCM: 30}, hydraulics.BandSpec{}, ProfileProbe{"p1", 0, 0}, ProfileProbe{"p2", 60, 0}),
	} {
		svg := drawnProfile(t, z)
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			start, ok := token.(xml.StartElement)
			if !ok {
				continue
			}
			for _, a := range start.Attr {
				if a.Name.Local == "points" {
					checkInside(t, name, a.Value)
				}
			}
		}
	}
}

func checkInside(t *testing.T, name, points string) {
	t.Helper()
	for _, pair := range strings.Fields(points) {
		var x, y float64
		if _, err := fmt.Sscanf(pair, "%g,%g", &x, &y); err != nil {
			t.Fatalf("%s: %q: %v", name, pair, err)
		}
		if x < 0 || x > profileWidth || y < 0 || y > profileHeight {
			t.Errorf("%s: %q lies outside", name, pair)
		}
	}
}

func TestProfileChartRefuses(t *testing.T) {
	z := coirPicture(t, ProfileProbe{"p9", 30, 0})
	if err := ProfileChart(io.Discard, z); err == nil || !strings.Contains(err.Error(), "probe p9: height_cm: 30") {
		t.Errorf("a probe above the surface: %v", err)
	}
	if err := ProfileChart(fullDisk{}, coirPicture(t)); !errors.Is(err, os.ErrClosed) {
		t.Errorf("a writer's error: %v", err)
	}
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, os.ErrClosed }

func TestLabelPlaces(t *testing.T) {
	f := plane{y: 100, height: 340, bottom: 0, top: 20}
	var marks []probeMark
	for _, h := range []float64{0, 0.1, 0.2, 10, 19.9, 20} {
		marks = append(marks, probeMark{heightCM: h})
	}
	at := labelPlaces(f, marks, 26)
	for i := range at {
		if i > 0 && at[i-1]-at[i] < 26-1e-9 {
			t.Errorf("labels %d and %d are %.1f px apart", i-1, i, at[i-1]-at[i])
		}
		if at[i] < f.y || at[i] > f.y+f.height {
			t.Errorf("label %d at %.1f lies outside", i, at[i])
		}
	}
}
