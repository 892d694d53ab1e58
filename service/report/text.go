package report

import (
	"fmt"
	"strings"
	"time"

	"rhizostat/policy"
)

// columns is the widest line.
const columns = 100

// wrap breaks a text at spaces into lines of at most columns, the first after
// one indent, the others after another. Spaces within the text are kept.
func wrap(text, first, others string) string {
	var b strings.Builder
	line := first + text
	for len(line) > columns {
		at := strings.LastIndexByte(line[:columns+1], ' ')
		if at <= len(others) {
			break // a single long word
		}
		b.WriteString(strings.TrimRight(line[:at], " "))
		b.WriteByte('\n')
		line = others + strings.TrimLeft(line[at:], " ")
	}
	b.WriteString(strings.TrimRight(line, " "))
	b.WriteByte('\n')
	return b.String()
}

// mark writes when a day starts or ends.
func mark(m policy.DayMark) string {
	switch m.Sun {
	case policy.Sunrise:
		return "sunrise"
	case policy.Sunset:
		return "sunset"
	}
	return fmt.Sprintf("%02d:%02d", int(m.AfterMidnight.Hours()), int(m.AfterMidnight.Minutes())%60)
}

// duration writes 12h as 12 h and 10m as 10 min.
func duration(d time.Duration) string {
	if d%time.Hour == 0 {
		return fmt.Sprintf("%d h", int(d.Hours()))
	}
	return fmt.Sprintf("%.4g min", d.Minutes())
}
