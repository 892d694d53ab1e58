package report

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// Table writes the daily figures of a zone, and below them what was decided and
// done. Lines of figures have at most 100 columns; a figure that no day has is left
// out.
func (d *Days) Table(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: zone %s, %s to %s, %s\n\n", d.Site, d.Zone, d.From.In(d.location()).Format("2 Jan 2006 15:04"), d.To.In(d.location()).Format("2 Jan 2006 15:04"), d.location())
	days := d.Daily()
	if len(days) == 0 {
		b.WriteString("nothing is recorded of these days\n")
	} else {
		d.figures(&b, days)
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

// figure is a column of the table.
type figure struct {
	width     int
	head, sub string
	cell      func(*Daily) string
}

// figures writes a line a day, and what the columns mean.
func (d *Days) figures(b *strings.Builder, days []Daily) {
	forecasts, usual := false, false
	for i := range days {
		forecasts = forecasts || !math.IsNaN(days[i].ForecastError)
		usual = usual || days[i].Usual
	}
	columns := d.columns(forecasts)
	line := func(first string, text func(figure) string) {
		row := fmt.Sprintf("%-11s", first)
		for _, c := range columns {
			row += fmt.Sprintf("%*s", c.width, text(c))
		}
		b.WriteString(strings.TrimRight(row, " ") + "\n")
	}
	line("day from", func(c figure) string { return c.head })
	line("", func(c figure) string { return c.sub })
	for i := range days {
		from := days[i].From.In(d.location()).Format("Mon 2 Jan")
		if i+1 < len(days) && days[i+1].From.In(d.location()).Format("Mon 2 Jan") == from { // the rest of a day that began before
			from = days[i].To.In(d.location()).Format("until 15:04")
		}
		line(from, func(c figure) string { return c.cell(&days[i]) })
	}
	b.WriteString("\nmL per container")
	if forecasts {
		b.WriteString("; fore-cast: mean absolute error of the day's forecasts over 24 h, m3/m3")
	}
	b.WriteByte('\n')
	if usual {
		b.WriteString("*: the forecast of the zone's usual water; no approved advice was in force for most of its 24 h\n")
	}
	for i := range d.Probes {
		if says := d.illness(&d.Probes[i]); says != "" {
			b.WriteString(wrap(says, "", "  "))
		}
	}
	if d.bare() {
		b.WriteString("this ledger has no interval, no probe's readings and no forecast of these days: the version of then kept none\n")
	}
}

// illness says for how long a probe was not believed, and why; nothing of one that
// always was.
func (d *Days) illness(p *Trace) string {
	hours := map[string]float64{}
	var order []string
	for _, ill := range p.Ill {
		h := ill.within(d.From, d.To).Hours()
		if h == 0 {
			continue
		}
		if _, ok := hours[ill.Health]; !ok {
			order = append(order, ill.Health)
		}
		hours[ill.Health] += h
	}
	var says []string
	for _, health := range order {
		says = append(says, fmt.Sprintf("%s %.1f h", health, hours[health]))
	}
	if len(says) == 0 {
		return ""
	}
	return fmt.Sprintf("probe %s was not believed: %s", p.ID, strings.Join(says, ", "))
}

// columns are the figures, that of the forecasts only where there are any.
func (d *Days) columns(forecasts bool) []figure {
	all := []figure{
		{6, "in", "band", func(y *Daily) string { return percent(y.InBand) }},
		{6, "above", "", func(y *Daily) string { return percent(y.Above) }},
		{6, "below", "", func(y *Daily) string { return percent(y.Below) }},
		{7, "satur.", "h", func(y *Daily) string { return decimals(y.SaturatedS/3600, 1) }},
		{7, "peak", "m3/m3", func(y *Daily) string { return decimals(y.Peak, 3) }},
		{7, "trough", "m3/m3", func(y *Daily) string { return decimals(y.Trough, 3) }},
		{8, "night", "dryback", func(y *Daily) string { return decimals(y.OvernightDryback, 3) }},
		{7, "water", "mL", func(y *Daily) string { return decimals(y.IrrigationML, 0) }},
		{6, "shots", "", func(y *Daily) string { return fmt.Sprint(y.Shots) }},
		{7, "drain", "mL", func(y *Daily) string { return decimals(y.DrainML, 0) }},
		{7, "share", "", func(y *Daily) string { return decimals(y.DrainFraction, 2) }},
		{8, "uptake", "mL", func(y *Daily) string { return decimals(y.UptakeML, 0) }},
	}
	if forecasts {
		all = append(all, figure{7, "fore-", "cast", func(y *Daily) string {
			if y.Usual {
				return decimals(y.ForecastError, 3) + "*"
			}
			return decimals(y.ForecastError, 3)
		}})
	}
	return all
}

// bare reports whether the days have only what a ledger keeps.
func (d *Days) bare() bool {
	if len(d.Water) == 0 || len(d.Forecasts) > 0 || d.intervals() {
		return false
	}
	for _, p := range d.Probes {
		if len(p.Readings) > 0 {
			return false
		}
	}
	return true
}

// intervals reports whether any water content has its interval.
func (d *Days) intervals() bool {
	for _, w := range d.Water {
		if w.High > w.Low {
			return true
		}
	}
	return false
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
