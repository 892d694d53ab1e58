package plan

import (
	"fmt"
	"strings"
	"testing"
)

// A sentence says the peak that is published as expected, to the last digit: who reads
// the one beside the other must not find two peaks.
func TestSentencesSayWhatIsPublished(t *testing.T) {
	var s Scratch
	said := 0
	for i := range 100 {
		r := pot(7000, 1300+7*float64(i))
		r.Band.FullPoint, r.Band.RefillPoint, r.Band.OvernightDryback, r.Band.DrainFraction = 0.585, 0.50, 0.06, 0.25
		r.Priorities.DrainFraction = 10 // so that it fills it up although the band ends below
		p := Best(r, &s)
		for _, reason := range p.Reasons {
			if reason.Code != "peak-above-full" {
				continue
			}
			said++
			if peak := fmt.Sprintf("%.3f m3/m3", p.Expected.PeakWaterContent); !strings.Contains(reason.Text, peak) {
				t.Errorf("request %d: published is a peak of %v; said is: %s", i, p.Expected.PeakWaterContent, reason.Text)
			}
		}
	}
	if said < 20 {
		t.Fatalf("%d plans of 100 speak of their peak; expected most of them to", said)
	}
}

// A limit keeps water from draining where the day as planned uses it up. That a thirsty day
// could come to it is no reason why the expected one drains no more.
func TestALimitThatTheScheduleLeavesIsNotNamed(t *testing.T) {
	var s Scratch
	named := 0
	for _, sd := range []float64{0.1, 0.4, 0.6} {
		for _, wanted := range []float64{0.2, 0.3, 0.4} {
			for _, most := range []float64{0.9, 1.2, 1.5, 2, 2.5} {
				for _, level := range []float64{0.48, 0.54, 0.575} {
					r := pot(7000, 1300)
					r.Limits.MaxDailyML, r.Band.DrainFraction, r.Band.FullPoint = most*1300, wanted, 0.58
					r.Situation.UptakeRelSD, r.Situation.WaterContent = sd, level
					p := Best(r, &s)
					room := r.Limits.MaxDailyML - float64(p.Setpoints.ScheduledML()) - float64(p.Setpoints.ShotVolumeML)
					for _, reason := range p.Reasons {
						if reason.Code != "drain-within-limit" {
							continue
						}
						if named++; room >= 0 {
							t.Errorf("%d mL are planned in shots of %d mL: %s", p.Setpoints.ScheduledML(), p.Setpoints.ShotVolumeML, reason.Text)
						}
					}
				}
			}
		}
	}
	if named < 3 {
		t.Fatalf("%d plans name their limit; expected some to", named)
	}
}

// A plan that keeps below the full point because its probes may be off says so with its
// numbers; of probes that are known well there is nothing to say.
func TestAPlanSaysWhyItKeepsBelowTheFullPoint(t *testing.T) {
	said := func(levelSD float64) string {
		r := pot(7000, 900)
		r.Band.RefillPoint, r.LevelSD = 0.40, levelSD
		var s Scratch
		for _, reason := range Best(r, &s).Reasons {
			if reason.Code == "clear-of-full-point" {
				return reason.Text
			}
		}
		return ""
	}
	if text := said(0.004); text != "" {
		t.Errorf("of probes known to 0.004: %q; expected nothing", text)
	}
	const want = "here by 0.030 m3/m3: at its wettest the zone is to show 0.580 m3/m3, so far below its full point 0.600 m3/m3"
	if text := said(0.03); !strings.Contains(text, want) {
		t.Errorf("of probes known to 0.03: %q; expected %q in it", text, want)
	}
}
