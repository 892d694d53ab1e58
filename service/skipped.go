package service

import "log/slog"

// skippedLines tells of the lines of a recording that are left out: of each reason the
// first, with its number, and at the end how many there were. A file that is no
// recording would otherwise be told of line by line. The zero value is ready.
type skippedLines struct {
	reasons []skippedFor // in the order of their first lines
}

type skippedFor struct {
	reason      lineReason
	first, last int
	lines       int
}

// note counts a line and says the first of its reason.
func (s *skippedLines) note(log *slog.Logger, reason lineReason, line int, about ...any) {
	for i := range s.reasons {
		if r := &s.reasons[i]; r.reason == reason {
			r.lines++
			r.last = line
			return
		}
	}
	s.reasons = append(s.reasons, skippedFor{reason, line, line, 1})
	log.Warn("line of the recording skipped; others for the same reason are counted", append([]any{"reason", string(reason), "line", line}, about...)...)
}

// summarize says how many lines were skipped for each reason.
func (s *skippedLines) summarize(log *slog.Logger) {
	for i := range s.reasons {
		r := &s.reasons[i]
		log.Warn("lines of the recording skipped", "reason", string(r.reason), "lines", r.lines, "first", r.first, "last", r.last)
	}
}
