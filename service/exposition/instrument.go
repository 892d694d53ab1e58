package exposition

import (
	"fmt"
	"io"
	"strings"
)

// Type is the type of an instrument, as the text format names it.
type Type string

// The types.
const (
	Counter   Type = "counter"
	Gauge     Type = "gauge"
	Histogram Type = "histogram"
)

// Instrument is a row of the table.
type Instrument struct {
	Name    string
	Type    Type
	Unit    string // of the value; "1" for a count or a truth
	Help    string
	Labels  []string
	From    string    // where the number comes from
	Buckets []float64 // of a histogram

	decimals int                   // of a zone's number, what is behind them means nothing
	value    func(*Sample) float64 // of a zone; NaN: not known, no line
	each     func(*Sample, func(label string, v float64))
}

// perZone reports whether the instrument is written from the samples.
func (i *Instrument) perZone() bool { return i.value != nil || i.each != nil }

// instrument finds a row; the names are ours.
func instrument(name string) *Instrument {
	for i := range Instruments {
		if Instruments[i].Name == name {
			return &Instruments[i]
		}
	}
	panic("exposition: instrument " + name + " is not in the table")
}

// WriteTable writes the table of all instruments in Markdown.
func WriteTable(w io.Writer) error {
	if _, err := fmt.Fprint(w, "| name | type | unit | labels | what | from |\n|---|---|---|---|---|---|\n"); err != nil {
		return err
	}
	for i := range Instruments {
		m := &Instruments[i]
		if _, err := fmt.Fprintf(w, "| `%s` | %s | %s | %s | %s | %s |\n", m.Name, m.Type, m.Unit, strings.Join(m.Labels, ", "), m.Help, m.From); err != nil {
			return err
		}
	}
	return nil
}
