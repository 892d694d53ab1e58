package report

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/sensing"
)

// CheckedZone is a zone whose site file was found sound.
type CheckedZone struct {
	Settings            *policy.Settings
	PercentIsHundredths bool // of SenML's % in native telemetry
}

// Check writes what the physics makes of each zone: volume, container capacity
// and the air beside it, the band and where it comes from, the water that
// counts, when the zone is saturated, and what each probe would read at the
// edges of the band. Zones that come out alike share one block. Lines have at
// most 100 columns where names are of usual length. An error is w's own, or
// says which zone's settings no container can have.
func Check(w io.Writer, zones []CheckedZone) error {
	var shelf hydraulics.Shelf // the zones of a site share few tables
	var blocks []*block
	byText := map[string]*block{}
	for _, z := range zones {
		text, err := zoneText(&shelf, z)
		if err != nil {
			return fmt.Errorf("site %s: zone %s: %w", z.Settings.Site, z.Settings.Zone, err)
		}
		key := z.Settings.Site + "\n" + text
		if byText[key] == nil {
			byText[key] = &block{site: z.Settings.Site, text: text}
			blocks = append(blocks, byText[key])
		}
		byText[key].zones = append(byText[key].zones, z.Settings.Zone)
	}
	var b strings.Builder
	for _, bl := range blocks {
		bl.write(&b)
	}
	percentNote(&b, zones)
	_, err := io.WriteString(w, b.String())
	return err
}

// block is the text of zones that come out alike.
type block struct {
	site  string
	zones []string
	text  string
}

func (bl *block) write(b *strings.Builder) {
	word := "zone"
	if len(bl.zones) > 1 {
		word = fmt.Sprintf("%d zones", len(bl.zones))
	}
	b.WriteString(wrap(fmt.Sprintf("%s: %s %s", bl.site, word, strings.Join(bl.zones, ", ")), "", "  "))
	b.WriteString(bl.text)
	b.WriteByte('\n')
}

// zoneText writes the block of one zone.
func zoneText(shelf *hydraulics.Shelf, z CheckedZone) (string, error) {
	s := z.Settings
	p, err := shelf.Profile(s.Substrate, s.Container)
	if err != nil {
		return "", err
	}
	band, err := hydraulics.NewBand(p, s.Band)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	what(&b, s, p)
	waters(&b, s, p, band)
	if err := probeRows(&b, shelf, s, p, band); err != nil {
		return "", err
	}
	wishes(&b, s, p, band)
	for _, stage := range s.Stages {
		sb, err := hydraulics.NewBand(p, stage.Band)
		if err != nil {
			return "", fmt.Errorf("stage %s: %w", stage.Name, err)
		}
		b.WriteString(wrap(fmt.Sprintf("from %s %s: full point %.3f, refill point %.3f, overnight dryback %.3f, drain fraction %.2f", stage.From.Format(time.DateOnly),
			stage.Name, sb.FullPoint, sb.RefillPoint, sb.OvernightDryback, sb.DrainFraction), "  ", "    "))
	}
	return b.String(), nil
}

// what says what the containers are and what their curve rests on.
func what(b *strings.Builder, s *policy.Settings, p *hydraulics.Profile) {
	c := s.Container
	shape := fmt.Sprintf("%.4g to %.4g cm wide", c.BottomDiameterCM, c.TopDiameterCM)
	if c.LengthCM > 0 {
		shape = fmt.Sprintf("%.4g x %.4g cm", c.LengthCM, c.WidthCM)
	}
	b.WriteString(wrap(fmt.Sprintf("%d x %s of %s: %.0f mL, %.4g cm high, %s, %s wall", s.ContainerCount, c.Name, s.Substrate.Name, p.VolumeML(), c.HeightCM, shape, c.Wall), "  ", "    "))
	r := s.Substrate.Retention
	curve := fmt.Sprintf("curve: theta_r %.3f, theta_s %.3f, alpha %.4g 1/kPa, n %.3g, total porosity %.3f; %s", r.ThetaR, r.ThetaS, r.AlphaPerKPa, r.N, s.Substrate.TotalPorosity, s.Substrate.Source)
	if s.Substrate.Provenance == hydraulics.Fitted {
		curve += fmt.Sprintf(", fit error %.3f m3/m3", s.Substrate.FitRMSE)
	}
	b.WriteString(wrap(curve, "  ", "    "))
}

// waters is the table of the wetnesses that matter, from wet to dry.
func waters(b *strings.Builder, s *policy.Settings, p *hydraulics.Profile, band hydraulics.Band) {
	row := func(name string, mean float64, note string) {
		suction := fmt.Sprintf("%.2f", max(0, p.MeanSuctionKPa(mean))) // ponded water has none
		b.WriteString(wrap(fmt.Sprintf("%-20s%9.3f%8.3f%8.0f%9s  %s", name, mean, p.AirFilledPorosity(mean), mean*p.VolumeML(), suction, note), "  ", strings.Repeat(" ", 58)))
	}
	fmt.Fprintf(b, "\n  %-20s%9s%8s%8s%9s\n  %-20s%9s%8s%8s%9s\n", "", "water", "air", "water", "suction", "", "m3/m3", "m3/m3", "mL", "kPa")
	row("soaked through", p.MaxMean(), "for a moment, under a heavy shot")
	capacity, wet := p.ContainerCapacity(), p.SaturationPoint(s.Aeration)
	saturated := func() {
		note := fmt.Sprintf("under %.2f air in over %.0f %% of the roots", s.Aeration.CriticalAirFilledPorosity, 100*s.Aeration.ToleratedShare)
		if wet >= p.MaxMean() {
			row("saturation begins", wet, "never: even full it keeps enough air")
			return
		}
		row("saturation begins", wet, note)
	}
	if wet >= capacity {
		saturated()
	}
	row("container capacity", capacity, "soaked and drained freely")
	if wet < capacity {
		saturated()
	}
	row("full point", band.FullPoint, source(band.FullPointSource, p))
	row("refill point", band.RefillPoint, source(band.RefillPointSource, p))
	if wet < capacity {
		b.WriteString(wrap("a container that has just drained is still saturated: it must be kept below its capacity, or be taller or filled coarser", "  ", "    "))
	}
	b.WriteString(wrap(fmt.Sprintf("water between full and refill point %.0f mL; easily available (%g to %g kPa) %.0f mL, buffering (%g to %g kPa) %.0f mL",
		(band.FullPoint-band.RefillPoint)*p.VolumeML(), hydraulics.EasilyAvailableFromKPa, hydraulics.EasilyAvailableToKPa, p.EasilyAvailableML(),
		hydraulics.EasilyAvailableToKPa, hydraulics.BufferingToKPa, p.BufferingML()), "  ", "    "))
}

// source is where an edge of the band comes from, without the container's name:
// the block has said it.
func source(text string, p *hydraulics.Profile) string {
	for _, of := range []string{" in ", " of "} {
		text = strings.TrimSuffix(text, of+p.String())
	}
	return text
}

// probeRows is the table of what the probes would read.
func probeRows(b *strings.Builder, shelf *hydraulics.Shelf, s *policy.Settings, p *hydraulics.Profile, band hydraulics.Band) error {
	highest := 0.0 // mean that a probe of the zone can tell
	fmt.Fprintf(b, "\n  %-20s%9s%8s%17s%17s\n", "probe", "height", "length", "at full point", "at refill point")
	for _, probe := range s.Probes {
		t, err := shelf.Probe(p, probe.HeightCM, probe.SensingLengthCM)
		if err != nil {
			return fmt.Errorf("probe %s: %w", probe.ID, err)
		}
		if probe.Calibration.Kind == sensing.Weight { // a balance weighs the mean itself
			fmt.Fprintf(b, "  %-20s%9s%8s%17.3f%17.3f\n", probe.ID, "weight", "-", band.FullPoint, band.RefillPoint)
			highest = p.MaxMean()
			continue
		}
		_, wettest := t.Range()
		highest = max(highest, wettest)
		fmt.Fprintf(b, "  %-20s%6.4g cm%5.4g cm%17.3f%17.3f\n", probe.ID, probe.HeightCM, probe.SensingLengthCM, t.Reading(band.FullPoint), t.Reading(band.RefillPoint))
	}
	if wet := p.SaturationPoint(s.Aeration); highest < wet && wet < p.MaxMean() {
		b.WriteString(wrap(fmt.Sprintf("so low they are under water from %.3f on and cannot see saturation begin at %.3f; one at %.0f cm or higher could", highest, wet, math.Ceil(p.WaterTable(wet))), "  ", "    "))
	}
	fmt.Fprintf(b, "  %d of %d must be healthy for an irrigate advice\n\n", s.Quorum, len(s.Probes))
	return nil
}

// wishes says what is asked of a day and what it may not exceed.
func wishes(b *strings.Builder, s *policy.Settings, p *hydraulics.Profile, band hydraulics.Band) {
	line := fmt.Sprintf("wanted: overnight dryback %.3f (%.0f mL), drain fraction %.2f", band.OvernightDryback, band.OvernightDryback*p.VolumeML(), band.DrainFraction)
	if s.Band.PoreEC != nil {
		line += fmt.Sprintf(", pore EC %.1f mS/cm", *s.Band.PoreEC)
	}
	b.WriteString(wrap(line, "  ", "    "))
	b.WriteString(wrap(fmt.Sprintf("limits: shot %.0f mL, day %.0f mL, shots %.0f min apart", s.Limits.MaxShotML, s.Limits.MaxDailyML, s.Limits.MinIntervalMin), "  ", "    "))
	if flow := s.Emitters.FlowMLPerS(); flow > 0 {
		b.WriteString(wrap(fmt.Sprintf("emitters: %d of %.4g L/h, 100 mL in %.0f s, the largest shot in %.0f s", s.Emitters.PerContainer, s.Emitters.FlowLPerH, 100/flow, s.Limits.MaxShotML/flow), "  ", "    "))
	} else {
		b.WriteString("  emitters: not told, so setpoints carry no run times\n")
	}
	b.WriteString(wrap(fmt.Sprintf("day: from %s to %s, %s; advice %s before it, decided %s before its first shot", mark(s.Day.Start), mark(s.Day.End), s.Location,
		duration(s.IssueBeforeDay), duration(s.DecideBeforeFirstShot)), "  ", "    "))
}

// percentNote explains the trap of SenML's percent sign, for the zones as they
// are set.
func percentNote(b *strings.Builder, zones []CheckedZone) {
	hundredths := 0
	for _, z := range zones {
		if z.PercentIsHundredths {
			hundredths++
		}
	}
	if hundredths < len(zones) {
		b.WriteString(wrap("mind the percent sign: SenML's \"%\" is a ratio (RFC 8428), so 52.3 % comes as 0.523. Where devices send 52.3 with it, say percent_is_hundredths: true at the zone.", "", "  "))
	}
	if hundredths > 0 {
		b.WriteString(wrap(fmt.Sprintf("%d of %d zones say percent_is_hundredths: a SenML \"%%\" of 52.3 is read as 0.523 there, and one of 0.523 as 0.00523.", hundredths, len(zones)), "", "  "))
	}
}
