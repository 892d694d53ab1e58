package demo

import (
	"fmt"
	"io"
	"strings"
	"time"

	"rhizostat/policy"
)

// header names the columns of the table of zones.
const header = "zone       water   band          air    margin  part      overnight  uptake    in force      advice      trouble"

// Table draws the zones. On a terminal it draws over itself; elsewhere it
// scrolls.
type Table struct {
	Out      io.Writer
	Terminal bool
	lines    int
}

// Draw prints the zones at an instant of the simulated time.
func (t *Table) Draw(now time.Time, rows []Row) error {
	var b strings.Builder
	if t.Terminal && t.lines > 0 {
		fmt.Fprintf(&b, "\x1b[%dA\x1b[J", t.lines)
	}
	lines := []string{now.Add(offset).Format("Mon 2 Jan 15:04"), header}
	for _, r := range rows {
		lines = append(lines, line(&r))
	}
	if !t.Terminal {
		lines = append(lines, "")
	}
	t.lines = len(lines)
	b.WriteString(strings.Join(lines, "\n"))
	b.WriteByte('\n')
	_, err := io.WriteString(t.Out, b.String())
	return err
}

func line(r *Row) string {
	s := r.State
	if s == nil || s.WaterContent == nil || s.Band == nil {
		return fmt.Sprintf("%-10s waiting for readings", r.Zone)
	}
	overnight := "-"
	if s.Dryback != nil && s.Dryback.OvernightDepth > 0 {
		overnight = fmt.Sprintf("%.3f", s.Dryback.OvernightDepth)
	}
	return fmt.Sprintf("%-10s %.3f   %.2f-%.2f %-5s %.2f   %5.2f   %-8s  %-9s  %4d mL   %-12s  %-10s  %s", r.Zone, *s.WaterContent,
		s.Band.RefillPoint, s.Band.FullPoint, s.Band.Position, *s.AirFilledPorosity, *s.AerationMargin, s.PartOfDay, overnight,
		*s.UptakeML24h, inForce(r), standing(r), worst(r))
}

func inForce(r *Row) string {
	if r.Setpoint == nil || r.Setpoint.Setpoints == nil {
		return "own timer"
	}
	p := r.Setpoint.Setpoints
	if p.ShotVolumeML == 0 {
		return "no water"
	}
	return fmt.Sprintf("%d x %d mL", len(p.Schedule), p.ShotVolumeML)
}

func standing(r *Row) string {
	switch {
	case r.Advice == nil:
		return "-"
	case !r.Advice.Approval.Required:
		return string(r.Advice.Action)
	case r.Advice.Approval.State == policy.StatePending:
		return "pending"
	}
	return string(r.Advice.Approval.State)
}

func worst(r *Row) string {
	if len(r.State.Diagnosis) == 0 {
		return "-"
	}
	d := r.State.Diagnosis[0]
	return fmt.Sprintf("%s %.0f %%", d.Cause, 100*d.Probability)
}

// Summary prints how the zones fared beside the same days under the timer.
func Summary(w io.Writer, o Options, ours, timer []Outcome) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s of simulated time, the first %s not counted; daytime is 06:00 to 20:00; measured by the simulator's truth\n\n", hours(o.For), hours(settling))
	fmt.Fprintf(&b, "zone                      in band  below  above  saturated  drybacks    given  drained, L a day\n")
	for i := range ours {
		note := ""
		if ours[i].Troubled {
			note = "  (its emitters clog from hour 30)"
		}
		fmt.Fprintf(&b, "%-10s  with approved  %s\n", ours[i].Zone, columns(&ours[i]))
		fmt.Fprintf(&b, "%-10s  timer alone    %s%s\n", "", columns(&timer[i]), note)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func columns(o *Outcome) string {
	return fmt.Sprintf("%5.0f %%  %3.0f %%  %3.0f %%  %7.1f h  %2d x %.3f  %5.2f  %7.2f",
		100*o.InBand, 100*o.Below, 100*o.Above, o.SaturatedH, o.Drybacks, o.MeanDryback, o.GivenL, o.DrainL)
}

func hours(d time.Duration) string { return fmt.Sprintf("%.0f h", d.Hours()) }
