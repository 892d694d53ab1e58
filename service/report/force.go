package report

import (
	"strings"
	"time"
)

// longestForce is how long an approval counts whose end is not on record: an advice
// is issued at most a day before the day that it is for.
const longestForce = 48 * time.Hour

// endOf begins the text of a mark that ends an advice, which is told by when it was
// issued: from the evening on there may be two.
const endOf = "that of "

// inForce are the times in which an approved advice stood, in the order of their
// beginnings and apart from one another. Which approval a mark ends is told by its
// text; a mark that ends what nobody had approved ends nothing.
func (d *Days) inForce() []Span {
	type approval struct {
		issued string
		from   time.Time
	}
	var open []approval
	var spans []Span
	waiting := ""
	end := func(a approval, at time.Time) {
		to := earlier(at, a.from.Add(longestForce))
		if n := len(spans); n > 0 && !a.from.After(spans[n-1].To) {
			spans[n-1].To = later(spans[n-1].To, to)
			return
		}
		spans = append(spans, Span{a.from, to})
	}
	for _, m := range d.Marks {
		switch m.Kind {
		case Issued:
			waiting = d.clock(m.At)
		case Approved:
			if waiting == "" { // under a standing approval: nobody was asked
				waiting = d.clock(m.At)
			}
			open = append(open, approval{waiting, m.At})
			waiting = ""
		case Rejected:
			waiting = ""
		case Withdrawn, Expired, Superseded:
			for i, a := range open {
				if strings.HasPrefix(m.Text, endOf+a.issued) {
					end(a, m.At)
					open = append(open[:i], open[i+1:]...)
					break
				}
			}
		}
	}
	for _, a := range open {
		end(a, a.from.Add(longestForce))
	}
	return spans
}
