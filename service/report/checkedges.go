package report

import (
	"fmt"
	"io"
	"strings"
)

// CheckedEdge is an edge node, or a device of one, that a sound site file reads or
// writes by Sparkplug B.
type CheckedEdge struct {
	Site, Place string          // group/edge node, and the device after that
	Writes      string          // the topic that it is written to, "" of one that is read
	Zones       []string        // of one that is written
	Metrics     []CheckedMetric // in the order of the file
	Expires     bool            // of one that is written: valid_until is among them
}

// CheckedMetric is a metric and what it stands for.
type CheckedMetric struct {
	Name string // as the site file has it
	What string // signal and unit, or setpoint and data type
}

// CheckEdges writes what is read from edge nodes and what is told to them, and what
// the broker must allow for it. It writes nothing where there are none.
func CheckEdges(w io.Writer, edges []CheckedEdge) error {
	var b strings.Builder
	for _, e := range edges {
		b.WriteByte('\n')
		if e.Writes == "" {
			fmt.Fprintf(&b, "%s: reads %s by Sparkplug B\n", e.Site, e.Place)
		} else {
			b.WriteString(wrap(fmt.Sprintf("%s: writes %s by Sparkplug B, for zone %s", e.Site, e.Writes, strings.Join(e.Zones, ", ")), "", "  "))
		}
		for _, m := range e.Metrics {
			b.WriteString(wrap(fmt.Sprintf("%-30s  %s", m.Name, m.What), "  ", strings.Repeat(" ", 34)))
		}
		switch {
		case e.Writes == "":
			b.WriteString(wrap("its birth certificates are asked for where they were missed: let this program write its NCMD topic", "  ", "    "))
		case !e.Expires:
			b.WriteString(wrap("null where nothing is in force; valid_until goes to no metric, so a controller that loses this program goes on with what it was told: map it, or let the controller drop what is a day old", "  ", "    "))
		default:
			b.WriteString("  null where nothing is in force\n")
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}
