package service

import (
	"log/slog"
	"sync"
	"time"
)

// What may come from outside as often as somebody likes is told so many times in a
// while, by reason; it is counted each time (common practice, no source).
const (
	toldAtMost = 10
	toldWithin = time.Minute
)

// sparing warns of what comes from outside without letting it fill the disk with
// log lines. The zero value is ready; reasons are of a closed set.
type sparing struct {
	mu   sync.Mutex
	told map[string]*telling
}

// telling is what was told of one reason since a time.
type telling struct {
	since   time.Time
	lines   int
	leftOut int
}

// warn writes a line, unless there were many for this reason just now. The first
// after that says how many were left out.
func (s *sparing) warn(log *slog.Logger, reason, message string, about ...any) {
	leftOut, ok := s.next(reason, time.Now())
	if !ok {
		return
	}
	about = append([]any{"reason", reason}, about...)
	if leftOut > 0 {
		about = append(about, "left_out", leftOut)
	}
	log.Warn(message, about...)
}

func (s *sparing) next(reason string, now time.Time) (leftOut int, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.told == nil {
		s.told = map[string]*telling{}
	}
	t := s.told[reason]
	if t == nil {
		t = &telling{since: now}
		s.told[reason] = t
	}
	if now.Sub(t.since) >= toldWithin {
		leftOut = t.leftOut
		*t = telling{since: now}
	}
	if t.lines >= toldAtMost {
		t.leftOut++
		return 0, false
	}
	t.lines++
	return leftOut, true
}
