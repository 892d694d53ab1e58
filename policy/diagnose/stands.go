package diagnose

import (
	"math"
	"time"

	"rhizostat/policy/advice"
)

// What lasts is soon usual, and nothing that is held against what is usual tells it any
// more: a zone that stays dry though water is reported, and one that stands saturated
// from its first day on.

// DryWatch follows a zone that lies below its refill point.
type DryWatch struct {
	SinceMs  int64   // 0: it does not
	TotalML  float64 // reported up to then
	GivenML  float64 // reported since
	UptakeML float32 // a day, as it used to be
	Refill   float32 // m3/m3
}

// leastDry is how far below its refill point a zone is dry, m3/m3: a tick.
const leastDry = 0.005

func (w *DryWatch) look(in *Inputs, atMs int64) {
	if !in.Current {
		return
	}
	if in.WaterContent > in.refill()-leastDry {
		*w = DryWatch{UptakeML: w.UptakeML}
		if in.Learned.UptakeML24h > 0 {
			w.UptakeML = float32(in.Learned.UptakeML24h)
		}
		return
	}
	if w.SinceMs == 0 {
		w.SinceMs, w.TotalML, w.Refill = atMs, in.Water.ReportedML, float32(in.refill())
	}
	w.GivenML = in.Water.ReportedML - w.TotalML
}

// evidence tells of a zone that has stayed dry for a day and more while enough was
// reported for what it used to drink.
func (w *DryWatch) evidence(atMs int64, n Naming) (advice.Reason, bool) {
	days := float64(atMs-w.SinceMs) / float64(dayMs)
	if w.SinceMs == 0 || days < 1 || w.UptakeML <= 0 || w.GivenML < days*float64(w.UptakeML) {
		return advice.Reason{}, false
	}
	daily := w.GivenML / days
	return advice.Say("stays-dry", advice.Water(float64(w.Refill)), advice.Date(time.UnixMilli(w.SinceMs), n.Location),
		advice.Volume(daily), advice.Share(daily/float64(w.UptakeML))), true
}

// WetWatch counts the days on which a zone was saturated.
type WetWatch struct {
	Days uint16 // in a row
}

const (
	// wetHours of a day make a saturated one, and wetDays of them in a row harm roots
	// whatever is usual here: without oxygen they stop growing within hours and die within
	// days (general plant physiology; from memory).
	wetHours = 16
	wetDays  = 2
	// wetLevel are the log odds to which each further day takes oversaturation, by wetStep at
	// most: what is held against the zone's own past calls such a day an ordinary one and
	// speaks against it.
	wetLevel, wetStep = 1.5, 8
)

// day takes a finished day, and reports whether it is one more of those that harm roots.
func (w *WetWatch) day(f *Features) bool {
	if !f.Known[WetHours] || f.Value[WetHours] < wetHours {
		w.Days = 0
		return false
	}
	w.Days = min(w.Days+1, 1000)
	return w.Days >= wetDays
}

// evidence tells of a zone that is saturated day after day.
func (w *WetWatch) evidence() (advice.Reason, bool) {
	if w.Days < wetDays {
		return advice.Reason{}, false
	}
	return advice.Say("stands-saturated", advice.Count(int(math.Min(float64(w.Days), 99)))), true
}
