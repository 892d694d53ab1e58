package report

import (
	"math"
	"strings"
	"testing"

	"rhizostat/policy/diagnose"
)

// TestCompareWords: no number that cannot be, one short line for what cannot hold
// the band, and once what a wall changes.
func TestCompareWords(t *testing.T) {
	solid := diagnose.Compared{Name: "solid", VolumeML: 7000, Capacity: 0.6, AirAtCapacity: 0.3, FullPoint: 0.58, RefillPoint: 0.4, BandML: 1260, Refills: 0.8, Shots: 5, Dryback: 0.04}
	airy, fabric, tiny, low := solid, solid, solid, solid
	airy.Name, fabric.Name = "airy", "fabric"
	tiny.Name, tiny.VolumeML, tiny.Dryback = "tiny", 170, 1.5
	low.Name, low.Capacity, low.FullPoint, low.Refills = "low", 0.5, math.NaN(), math.NaN()
	low.Refusal = "full_point: 0.58 is above the container capacity 0.5000 of mix in low; expected at most that, as water above it drains away; lower it"
	lower := low
	lower.Name, lower.Capacity = "lower", 0.45
	choices := []diagnose.Compared{solid, airy, fabric, tiny, low, lower}
	tests := []struct {
		share      float64
		want, less []string
	}{
		{0.25, []string{
			"drinks 1000 mL a day from each container, 25 % of it overnight\n", "the share of the night is assumed from its length (common practice, no source)",
			"above 4.0 the night alone empties it, and the container has become the constraint", "airy    the numbers of solid; a wall that lets air in",
			"fabric  the numbers of solid\n", "  low: full_point: 0.58 is above the container capacity 0.5000\n  lower: full_point", "  lower the full point for them",
		}, []string{"1.500", "An air-pruning or fabric wall", "cannot hold the band asked for:\n  lower"}},
		{1, []string{"above 1.0 the night alone"}, nil},
		{0, []string{"empties the band.\n"}, []string{"constraint"}},
	}
	for _, tt := range tests {
		var b strings.Builder
		if err := Compare(&b, "north: zone z", choices, diagnose.Use{UptakeML: 1000, DryShare: tt.share}); err != nil {
			t.Fatal(err)
		}
		for _, want := range tt.want {
			if !strings.Contains(b.String(), want) {
				t.Errorf("share %g: no %q in\n%s", tt.share, want, b.String())
			}
		}
		for _, no := range tt.less {
			if strings.Contains(b.String(), no) {
				t.Errorf("share %g: %q in\n%s", tt.share, no, b.String())
			}
		}
		for _, line := range strings.Split(b.String(), "\n") {
			if dry := strings.Contains(line, "  dry  "); dry != strings.HasPrefix(line, "tiny ") {
				t.Errorf("share %g: %q", tt.share, line)
			}
		}
	}
}
