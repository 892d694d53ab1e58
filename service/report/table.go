package report

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// Table writes the daily figures of a zone, and below them what was decided and
// done. Lines of figures have 100 columns.
func (d *Days) Table(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: zone %s, %s to %s, %s\n\n", d.Site, d.Zone, d.From.In(d.location()).Format("2 Jan 2006 15:04"), d.To.In(d.location()).Format("2 Jan 2006 15:04"), d.location())
	fmt.Fprintf(&b, "%-11s%6s%6s%6s%7s%7s%7s%8s%7s%6s%7s%7s%8s%7s\n", "day from", "in", "above", "below", "satur.", "peak", "trough", "night", "water", "shots", "drain", "share", "uptake", "fore-")
	fmt.Fprintf(&b, "%-11s%6s%6s%6s%7s%7s%7s%8s%7s%6s%7s%7s%8s%7s\n", "", "band", "", "", "h", "m3/m3", "m3/m3", "dryback", "mL", "", "mL", "", "mL", "cast")
	days := d.Daily()
	usual := false
	for i, day := range days {
		from := day.From.In(d.location()).Format("Mon 2 Jan")
		if i+1 < len(days) && days[i+1].From.In(d.location()).Format("Mon 2 Jan") == from { // the rest of a day that began before
			from = day.To.In(d.location()).Format("until 15:04")
		}
		forecast := decimals(day.ForecastError, 3)
		if day.Usual {
			usual = true
			forecast += "*"
		}
		fmt.Fprintf(&b, "%-11s%6s%6s%6s%7.1f%7s%7s%8s%7.0f%6d%7.0f%7s%8s%7s\n", from,
			percent(day.InBand), percent(day.Above), percent(day.Below), day.SaturatedS/3600, decimals(day.Peak, 3), decimals(day.Trough, 3),
			decimals(day.OvernightDryback, 3), day.IrrigationML, day.Shots, day.DrainML, decimals(day.DrainFraction, 2), decimals(day.UptakeML, 0), forecast)
	}
	if len(days) == 0 {
		b.WriteString("nothing is recorded of these days\n")
	}
	b.WriteString("\nmL per container; fore-cast: mean absolute error of the day's forecasts over 24 h, m3/m3\n")
	if usual {
		b.WriteString("*: the forecast of the zone's usual water; no approved advice was in force for most of its 24 h\n")
	}
	marks := d.marks()
	if len(marks) > 0 {
		b.WriteByte('\n')
	}
	for _, m := range marks {
		b.WriteString(wrap(fmt.Sprintf("%s  %-10s  %s", m.At.In(d.location()).Format("Mon 2 Jan 15:04"), m.Kind, m.Text), "", strings.Repeat(" ", 29)))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func percent(share float64) string {
	if math.IsNaN(share) {
		return "-"
	}
	return fmt.Sprintf("%.0f %%", 100*share)
}

func decimals(v float64, n int) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.*f", n, v)
}
