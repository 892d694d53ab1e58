package site

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Severity tells a mistake from a warning.
type Severity uint8

// The severities.
const (
	Mistake Severity = iota // the site cannot be used
	Warning                 // the site can be used; a person should look
)

// String returns "mistake" or "warning".
func (s Severity) String() string {
	if s == Warning {
		return "warning"
	}
	return "mistake"
}

// Diagnostic is one thing to say about a site file.
type Diagnostic struct {
	File     string
	Line     int // from 1; 0 when it is about the file as a whole
	Column   int // from 1, in characters; 0 like Line
	Path     string
	Summary  string // what is wrong, with the value
	Expected string // what was expected, "" when Summary says it all
	Hint     string // what to do, "" when Expected says it all
	Severity Severity
	Cause    error // of a library or the operating system, nil when the mistake is ours to word
}

// String is one line for people:
//
//	north.yaml:14:22: zones.bench-07.band.max_suction_kpa: -5 is below 0.5; expected kPa from 0.5 to 30; leave it out for the default 5
func (d Diagnostic) String() string {
	var b strings.Builder
	b.WriteString(d.File)
	if d.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", d.Line, d.Column)
	}
	b.WriteString(": ")
	if d.Severity == Warning {
		b.WriteString("warning: ")
	}
	b.WriteString(d.Words())
	if d.Cause != nil {
		fmt.Fprintf(&b, " (%v)", d.Cause)
	}
	return b.String()
}

// Words is the diagnostic without its place and without what a library said.
func (d Diagnostic) Words() string {
	parts := make([]string, 0, 3)
	if d.Path != "" {
		parts = append(parts, d.Path+": "+d.Summary)
	} else {
		parts = append(parts, d.Summary)
	}
	if d.Expected != "" {
		parts = append(parts, "expected "+d.Expected)
	}
	if d.Hint != "" {
		parts = append(parts, d.Hint)
	}
	return strings.Join(parts, "; ")
}

// Diagnostics are all that there is to say about the files read, in the order
// of file, line and column.
type Diagnostics []Diagnostic

// maxPerFile bounds what one file may make us say: a file of another program
// would else bury the first mistakes under thousands.
const maxPerFile = 200

// Mistakes counts what keeps a site from being used.
func (d Diagnostics) Mistakes() int {
	n := 0
	for i := range d {
		if d[i].Severity == Mistake {
			n++
		}
	}
	return n
}

// Warnings returns the warnings alone.
func (d Diagnostics) Warnings() Diagnostics {
	var w Diagnostics
	for i := range d {
		if d[i].Severity == Warning {
			w = append(w, d[i])
		}
	}
	return w
}

// Err is nil when there is no mistake; otherwise an error that prints every
// mistake on a line of its own. Warnings are left out.
func (d Diagnostics) Err() error {
	var lines []string
	for i := range d {
		if d[i].Severity == Mistake {
			lines = append(lines, d[i].String())
		}
	}
	if lines == nil {
		return nil
	}
	return errors.New(strings.Join(lines, "\n"))
}

// String prints one diagnostic a line, each ended by a line feed.
func (d Diagnostics) String() string {
	var b strings.Builder
	for i := range d {
		b.WriteString(d[i].String())
		b.WriteByte('\n')
	}
	return b.String()
}

// sorted orders the diagnostics of one file and bounds their number.
func (d Diagnostics) sorted() Diagnostics {
	slices.SortStableFunc(d, func(a, b Diagnostic) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Severity, b.Severity))
	})
	// Through an alias the same slip is met once for each use: once is enough.
	d = slices.CompactFunc(d, func(a, b Diagnostic) bool {
		return a.Line > 0 && a.Line == b.Line && a.Column == b.Column && a.Summary == b.Summary
	})
	if len(d) <= maxPerFile {
		return d
	}
	// Mistakes go first when something must be left out: a warning that hides
	// a mistake would let a broken file look sound.
	rest := len(d) - maxPerFile
	slices.SortStableFunc(d, func(a, b Diagnostic) int { return cmp.Compare(a.Severity, b.Severity) })
	last := d[maxPerFile]
	d = d[:maxPerFile].sorted()
	return append(d, Diagnostic{File: last.File, Severity: last.Severity,
		Summary: fmt.Sprintf("%d more are not shown", rest), Hint: "mend the first ones and check again"})
}
