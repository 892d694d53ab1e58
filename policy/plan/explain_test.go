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
