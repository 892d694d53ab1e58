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
	width := 0
	for i := range choices {
		width = max(width, len(choices[i].Name))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s, for a crop that drinks %.0f mL a day from each container, %.0f %% of it overnight\n", zone, use.UptakeML, 100*use.DryShare)
	fmt.Fprintf(&b, "the share of the night is assumed from its length (common practice, no source); a running zone learns its own\n\n")
	fmt.Fprintf(&b, "%*s  volume  capacity  air there  short of air   band  refills  shots  overnight   margin at full point\n", width, "")
	fmt.Fprintf(&b, "%*s      mL     m3/m3      m3/m3      of roots     mL    a day  a day      m3/m3    20 Cel    28 Cel\n", width, "")
	said := false
	for i := range choices {
		c := &choices[i]
		if other := same(choices[:i], c); other != "" {
			fmt.Fprintf(&b, "%-*s  the numbers of %s", width, c.Name, other)
			if !said {
				b.WriteString("; a wall that lets air in dries from the side too and faster,\n")
				fmt.Fprintf(&b, "%*s  and keeps roots from circling: that is not in these numbers", width, "")
			}
			said = true
			b.WriteByte('\n')
			continue
		}
		fmt.Fprintf(&b, "%-*s  %6.0f  %8.3f  %9.3f  %10.0f %%  %5s  %7s  %5.0f  %9s  %8.2f  %8.2f\n", width, c.Name, c.VolumeML, c.Capacity, c.AirAtCapacity,
			100*c.SaturatedShare, known(c.BandML, "%.0f", c.Refusal == ""), known(c.Refills, "%.1f", c.Refusal == ""), c.Shots, dryback(c), c.Margin20, c.Margin28)
	}
	refusals(&b, choices)
	b.WriteByte('\n')
	b.WriteString(constraint(use.DryShare))
	fmt.Fprintf(&b, "shots: of %.0f %% of the volume. overnight: the dryback when nothing is given from the last shot to the first;\n", 100*diagnose.ShotShare)
	b.WriteString("dry: the night alone takes more water than the container holds.\n")
	if !said {
		b.WriteString("An air-pruning or fabric wall keeps roots from circling and dries from the side; that is not in these numbers.\n")
	}
	b.WriteString("A lower, wetter container is helped by a taller one or a coarser mix before anything else.\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// constraint says from how many refills a day on a container is outgrown, as
// [diagnose.Memory.Outgrow] takes it: when the longest time without water uses up
// the band.
func constraint(share float64) string {
	const what = "refills: how often a day the crop empties the band"
	if !(share > 0) {
		return what + ".\n"
	}
	return fmt.Sprintf("%s; above %.1f the night alone empties it, and the container has become the constraint.\n", what, 1/share)
}

// dryback is what a night takes, or that it takes all there is.
func dryback(c *diagnose.Compared) string {
	holds := c.Capacity
	if !math.IsNaN(c.FullPoint) {
		holds = min(holds, c.FullPoint)
	}
	if c.Dryback >= holds {
		return "dry"
	}
	return fmt.Sprintf("%.3f", c.Dryback)
}

// same is the name of an earlier choice with the very numbers of another, "" if
// there is none: then a wall is all in which they differ.
func same(earlier []diagnose.Compared, c *diagnose.Compared) string {
	for i := range earlier {
		e := &earlier[i]
		if e.VolumeML == c.VolumeML && e.Capacity == c.Capacity && e.SaturatedShare == c.SaturatedShare && e.EasyML == c.EasyML && e.Margin20 == c.Margin20 && e.Margin28 == c.Margin28 && e.BandML == c.BandML {
			return e.Name
		}
	}
	return ""
}

// refusals says in a line each which choices cannot hold the band, and once what
// helps.
func refusals(b *strings.Builder, choices []diagnose.Compared) {
	head := "\ncannot hold the band asked for:\n"
	for i := range choices {
		c := &choices[i]
		if c.Refusal == "" || same(choices[:i], c) != "" {
			continue
		}
		why, _, _ := strings.Cut(c.Refusal, ";")
		why, _, _ = strings.Cut(why, " of ")
		b.WriteString(head + wrap(c.Name+": "+why, "  ", "    "))
		head = ""
	}
	if head == "" {
		b.WriteString("  lower the full point for them, or tell the substrate's own retention if a capacity is wrong\n")
	}
}

// known prints a number that is there.
func known(v float64, format string, ok bool) string {
	if !ok || math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf(format, v)
}
