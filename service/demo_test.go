package service

import (
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"rhizostat/service/demo"
)

// The demo with the approver played: the loop is closed, the zones that nothing
// ails are in their bands by day and lack air for no more than half of the time
// that the timer alone leaves them without, no setpoint was published that
// nobody approved, and nothing is left running.
func TestDemoKeepsZonesInTheirBands(t *testing.T) {
	notUnderRace(t)
	if testing.Short() {
		t.Skip("two simulated days take some ten seconds")
	}
	before := goleak.IgnoreCurrent()
	r := startDemo(t.Context(), demo.Options{For: 48 * time.Hour, Approve: true})
	if err := <-r.ended; err != nil {
		t.Fatal(err)
	}
	text := r.out.String()
	if !strings.Contains(text, "Every setpoint that was published had been approved.") {
		t.Errorf("the demo does not say that every setpoint had been approved:\n%s", text)
	}
	table, summary, _ := strings.Cut(text, " of simulated time, ")
	zones, name, ours := 0, "", outcome{}
	for line := range strings.Lines(summary) {
		columns := strings.Fields(line)
		switch at := slices.Index(columns, "%"); {
		case at < 0:
		case strings.Contains(line, "with approved"):
			name, ours = columns[0], outcome{number(t, columns[at-1]), number(t, columns[at+5])}
			zones++
		case strings.Contains(line, "clog"):
		default:
			if timer := number(t, columns[at+5]); ours.saturatedH > timer/2 {
				t.Errorf("%s is saturated for %g h, under the timer for %g h; wanted at most half", name, ours.saturatedH, timer)
			}
			if ours.inBand < 90 {
				t.Errorf("%s is in its band for %g %% of daytime; wanted 90", name, ours.inBand)
			}
		}
	}
	if zones != 4 {
		t.Errorf("%d zones in the summary:\n%s", zones, text)
	}
	if !strings.Contains(table, " approved ") {
		t.Error("no advice was approved")
	}
	var left error // goroutines that nobody ends; the library's own patience is a second
	eventually(t, 10*time.Second, func() string { return left.Error() }, func() bool {
		left = goleak.Find(before)
		return left == nil
	})
}

// outcome is a zone's line of the summary.
type outcome struct{ inBand, saturatedH float64 }

// Without an approver nothing is ever in force.
func TestDemoWithoutAnApprover(t *testing.T) {
	notUnderRace(t)
	r := startDemo(t.Context(), demo.Options{For: 12 * time.Hour})
	if err := <-r.ended; err != nil {
		t.Fatal(err)
	}
	text, _, _ := strings.Cut(r.out.String(), " of simulated time, ")
	if !strings.Contains(text, "own timer") || !strings.Contains(text, "pending") || strings.Contains(text, " approved ") {
		t.Errorf("nobody approved, and the demo shows:\n%s", text)
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
