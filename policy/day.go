package policy

import (
	"time"

	"rhizostat/policy/climate"
)

// IrrigationDay is one day from its start to the next one's.
type IrrigationDay struct {
	Start, DaytimeEnd, Next time.Time
}

// DayAt gives the irrigation day that holds t.
func (s *Settings) DayAt(t time.Time) IrrigationDay {
	y, m, d := t.In(s.Location).Date()
	start := s.mark(s.Day.Start, y, m, d)
	// a start late in the day and a zone near the date line can be off by one
	for start.After(t) {
		d--
		start = s.mark(s.Day.Start, y, m, d)
	}
	next := s.mark(s.Day.Start, y, m, d+1)
	for !next.After(t) {
		d++
		start, next = next, s.mark(s.Day.Start, y, m, d+1)
	}
	end := s.mark(s.Day.End, y, m, d)
	if !end.After(start) { // a day across midnight
		end = s.mark(s.Day.End, y, m, d+1)
	}
	if !end.After(start) || end.After(next) {
		end = next
	}
	return IrrigationDay{start, end, next}
}

// Polar days and nights have no sunrise: the day is then the clock's (common
// practice, no source).
const (
	noSunrise = 6 * time.Hour
	noSunset  = 18 * time.Hour
)

func (s *Settings) mark(m DayMark, y int, month time.Month, d int) time.Time {
	noon := time.Date(y, month, d, 12, 0, 0, 0, s.Location)
	clock := m.AfterMidnight
	switch m.Sun {
	case Sunrise:
		if t, ok := climate.Sunrise(noon, s.Latitude, s.Longitude); ok {
			return t.UTC().Truncate(time.Minute)
		}
		clock = noSunrise
	case Sunset:
		if t, ok := climate.Sunset(noon, s.Latitude, s.Longitude); ok {
			return t.UTC().Truncate(time.Minute)
		}
		clock = noSunset
	}
	return time.Date(y, month, d, 0, 0, int(clock/time.Second), 0, s.Location).UTC()
}
