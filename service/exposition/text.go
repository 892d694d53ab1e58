package exposition

import (
	"io"
	"math"
	"strconv"
)

// flushAt is how much text is gathered before it is written on.
const flushAt = 64 << 10

// writeZones writes the per-zone instruments in the text format, version 0.0.4:
// one after the other, each with its HELP and TYPE. It needs memory for one block
// of text however many zones there are.
func writeZones(w io.Writer, from Source) error {
	t := &text{w: w, buf: make([]byte, 0, flushAt+4<<10)}
	for i := range Instruments {
		if m := &Instruments[i]; m.perZone() {
			t.instrument(m, from)
			if t.err != nil {
				return t.err
			}
		}
	}
	return t.flush()
}

// text writes lines of the text format.
type text struct {
	w   io.Writer
	buf []byte
	err error

	// of the instrument and the zone being written
	m      *Instrument
	sample *Sample
	headed bool
}

func (t *text) instrument(m *Instrument, from Source) {
	t.m, t.headed = m, false
	put := t.labelled // one function value for all zones
	from(func(s *Sample) bool {
		t.sample = s
		if m.each != nil {
			m.each(s, put)
		} else {
			t.line("", m.value(s))
		}
		if len(t.buf) >= flushAt {
			t.err = t.flush()
		}
		return t.err == nil
	})
}

func (t *text) labelled(label string, v float64) { t.line(label, v) }

// line writes one series. A number that is not known has none. The head comes
// with the first, for an instrument without series is none.
func (t *text) line(label string, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	if !t.headed {
		t.head()
	}
	b := append(t.buf, t.m.Name...)
	b = append(b, `{site="`...)
	b = appendEscaped(b, t.sample.Site)
	b = append(b, `",zone="`...)
	b = appendEscaped(b, t.sample.Zone)
	if t.m.each != nil {
		b = append(b, `",`...)
		b = append(b, t.m.Labels[2]...)
		b = append(b, `="`...)
		b = appendEscaped(b, label)
	}
	b = append(b, `"} `...)
	b = appendRounded(b, v, t.m.decimals)
	t.buf = append(b, '\n')
}

func (t *text) head() {
	t.headed = true
	b := append(t.buf, "# HELP "...)
	b = append(b, t.m.Name...)
	b = append(b, ' ')
	b = append(b, t.m.Help...)
	b = append(b, "\n# TYPE "...)
	b = append(b, t.m.Name...)
	b = append(b, ' ')
	b = append(b, t.m.Type...)
	t.buf = append(b, '\n')
}

func (t *text) flush() error {
	_, err := t.w.Write(t.buf)
	t.buf = t.buf[:0]
	return err
}

// appendEscaped writes a label's value: backslash, quote and line feed are
// escaped.
func appendEscaped(b []byte, s string) []byte {
	for i := 0; i < len(s); i++ {
		switch c := s[i]; c {
		case '\\':
			b = append(b, `\\`...)
		case '"':
			b = append(b, `\"`...)
		case '\n':
			b = append(b, `\n`...)
		default:
			b = append(b, c)
		}
	}
	return b
}

var powers = [...]float64{1, 10, 1e2, 1e3, 1e4, 1e5}

// appendRounded writes a number rounded to so many decimals, without trailing
// zeros. Through an integer it is several times quicker than strconv's.
func appendRounded(b []byte, v float64, decimals int) []byte {
	scaled := math.Round(v * powers[decimals])
	if math.Abs(scaled) >= 1<<53 {
		return strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	n := int64(scaled)
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	unit := int64(powers[decimals])
	b = strconv.AppendInt(b, n/unit, 10)
	n %= unit
	if n == 0 {
		return b
	}
	b = append(b, '.')
	for n > 0 {
		unit /= 10
		b = append(b, byte('0'+n/unit))
		n %= unit
	}
	return b
}
