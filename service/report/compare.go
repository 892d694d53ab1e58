package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"rhizostat/policy/diagnose"
)

// Compare writes choices of container and substrate side by side, the zone's own
// first, for an uptake in mL per container and day.
func Compare(w io.Writer, zone string, choices []diagnose.Compared, use diagnose.Use) error {
	if _, err := fmt.Fprintf(w, "%s, for a crop that drinks %.0f mL a day from each container, %.0f %% of it overnight\n\n", zone, use.UptakeML, 100*use.DryShare); err != nil {
		return err
	}
	width := 0
	for i := range choices {
		width = max(width, len(choices[i].Name))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%*s  volume  capacity  air there  short of air   band  refills  shots  overnight   margin at full point\n", width, "")
	fmt.Fprintf(&b, "%*s      mL     m3/m3      m3/m3      of roots     mL    a day  a day      m3/m3    20 Cel    28 Cel\n", width, "")
	for i := range choices {
		c := &choices[i]
		fmt.Fprintf(&b, "%-*s  %6.0f  %8.3f  %9.3f  %10.0f %%  %5s  %7s  %5.0f  %9.3f  %8.2f  %8.2f\n", width, c.Name, c.VolumeML, c.Capacity, c.AirAtCapacity,
			100*c.SaturatedShare, known(c.BandML, "%.0f", c.Refusal == ""), known(c.Refills, "%.1f", c.Refusal == ""), c.Shots, c.Dryback, c.Margin20, c.Margin28)
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return err
	}
	for i := range choices {
		if c := &choices[i]; c.Refusal != "" {
			if _, err := fmt.Fprintf(w, "\n%s cannot hold the band asked for: %s\n", c.Name, c.Refusal); err != nil {
				return err
			}
		}
	}
	_, err := fmt.Fprintf(w, `
refills: how often a day the crop empties the band; above 1 the container has become the constraint.
shots: of %.0f %% of the volume. overnight: the dryback when nothing is given from the last shot to the first.
An air-pruning or fabric wall keeps roots from circling and dries from the side; that is not in these numbers.
A lower, wetter container is helped by a taller one or a coarser mix before anything else.
`, 100*diagnose.ShotShare)
	return err
}

// known prints a number that is there.
func known(v float64, format string, ok bool) string {
	if !ok || math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf(format, v)
}
