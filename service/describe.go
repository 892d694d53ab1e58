package service

import (
	"fmt"
	"strings"

	"rhizostat/service/wire"
)

// describe prints one advice in full: all that a person approves.
func (c *Console) describe(s standing, diff bool) {
	a := s.advice
	fmt.Fprintf(c.Out, "%s/%s  %s  %s  (%s)\n", a.Site, a.Zone, a.Action, a.ID, c.approval(a))
	fmt.Fprintf(c.Out, "  valid %s to %s, confidence %.0f %%\n", c.local(a.Site, a.ValidFrom).Format(dayAndTime), c.local(a.Site, a.ValidUntil).Format(dayAndTime), 100*a.Confidence)
	if a.Setpoints != nil {
		c.setpoints(a.Site, a.Setpoints)
	}
	if a.Expected != nil {
		fmt.Fprintf(c.Out, "  expected: %s\n", expected(a.Expected))
	}
	for _, r := range a.Reasons {
		fmt.Fprintf(c.Out, "  why: %s\n", r.Text)
	}
	for _, text := range a.Cautions {
		fmt.Fprintf(c.Out, "  caution: %s\n", text)
	}
	if older := s.older(); older != nil {
		fmt.Fprintf(c.Out, "  in force meanwhile, until %s at most: %s\n", c.local(a.Site, older.advice.ValidUntil).Format(dayAndTime), older.advice.ID)
	}
	if diff {
		c.differences(&s)
	}
	fmt.Fprintln(c.Out)
}

// setpoints prints what a controller would be given, by clock and by trigger.
func (c *Console) setpoints(site string, p *wire.Setpoints) {
	trigger := fmt.Sprintf("trigger %.3f", p.TriggerWaterContent)
	if p.ShotVolumeML == 0 {
		fmt.Fprintf(c.Out, "  no water until the day ends or the water content falls to its %s m3/m3%s\n", trigger, byProbe(p.TriggerByProbe))
		return
	}
	shots, run := "shots", ""
	if len(p.Schedule) == 1 {
		shots = "shot"
	}
	if p.RunTimeS > 0 {
		run = fmt.Sprintf(" (%d s)", p.RunTimeS)
	}
	// the most of a day counts what was given before the advice was issued
	fmt.Fprintf(c.Out, "  %d %s of %d mL%s from %s to %s, at least %d min apart, at most %d mL on the day\n", len(p.Schedule), shots, p.ShotVolumeML, run,
		c.local(site, p.FirstShotAt).Format("15:04"), c.local(site, p.LastShotBy).Format("15:04 MST"), p.MinIntervalS/60, p.MaxVolumeML)
	if len(p.Schedule) > 0 {
		fmt.Fprintf(c.Out, "  by clock: %s\n", c.byClock(site, p.Schedule))
	}
	fmt.Fprintf(c.Out, "  by trigger: %s, target %.3f m3/m3%s\n", trigger, p.TargetWaterContent, byProbe(p.TriggerByProbe))
	if p.DrainFraction != nil {
		fmt.Fprintf(c.Out, "  drain fraction aimed at: %.2f\n", *p.DrainFraction)
	}
}

// byClock lists the shots, each with its volume where they differ.
func (c *Console) byClock(site string, schedule []wire.Shot) string {
	differ := false
	for _, shot := range schedule {
		differ = differ || shot.VolumeML != schedule[0].VolumeML
	}
	var times []string
	for _, shot := range schedule {
		text := c.local(site, shot.At).Format("15:04")
		if differ {
			text += fmt.Sprintf(" %d mL", shot.VolumeML)
		}
		times = append(times, text)
	}
	return strings.Join(times, ", ")
}

// byProbe lists the triggers of the probes.
func byProbe(triggers wire.ProbeNumbers) string {
	if len(triggers) == 0 {
		return ""
	}
	var each []string
	for _, t := range triggers {
		each = append(each, fmt.Sprintf("%s %.3f", t.Probe, t.Value))
	}
	return "; read by a probe itself: " + strings.Join(each, ", ")
}

// expected tells what the engine thinks will come of it.
func expected(e *wire.Expected) string {
	saturated := "never saturated"
	if e.SaturationS > 0 {
		saturated = fmt.Sprintf("saturated for %.1f h", float64(e.SaturationS)/3600)
	}
	return fmt.Sprintf("peak %.3f, trough %.3f, overnight dryback %.3f m3/m3, uptake %d mL, drain %d mL, %s",
		e.PeakWaterContent, e.TroughWaterContent, e.OvernightDryback, e.UptakeML, e.DrainML, saturated)
}
