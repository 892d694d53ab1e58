package intake

import (
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/policy/sensing"
)

// flat reads one flat JSON object of signals in base units, with an optional
// `time`: RFC 3339, or seconds since 1970.
func (rd *reader) flat() Reason {
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	rd.readings = append(rd.readings, reading{at: rd.arrived})
	r := &rd.readings[0]
	for rd.dec.PeekKind() != '}' {
		name, err := rd.readName()
		if err != nil {
			return rd.broken(err)
		}
		raw, err := rd.dec.ReadValue()
		if err != nil {
			return rd.broken(err)
		}
		if raw[0] == 'n' { // null: the device has nothing to say of it
			continue
		}
		if string(name) == "time" {
			at, ok := flatTime(raw)
			if !ok {
				return rd.fail(NotATime, name, raw) // without its time a reading could go anywhere
			}
			r.at, r.own = at, true
			continue
		}
		rd.take(&r.values, name, raw)
	}
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	return ""
}

// take sets one signal of a flat object.
func (rd *reader) take(v *sensing.Values, name []byte, raw jsontext.Value) {
	s, ok := signals[string(name)]
	if !ok {
		rd.drop(UnknownSignal, name, raw)
		return
	}
	if scopeOf[s]&rd.source.scope() == 0 {
		rd.drop(WrongSource, name, raw)
		return
	}
	x, ok := scalar(s, raw)
	if !ok {
		rd.drop(NotANumber, name, raw)
		return
	}
	if reason := put(v, s, x, asIs); reason != "" {
		rd.drop(reason, name, raw)
	}
}

// readName reads the name of an object's member. It stands in the reader's memory
// until the next one.
func (rd *reader) readName() ([]byte, error) {
	raw, err := rd.dec.ReadValue()
	if err != nil {
		return nil, err
	}
	rd.name, err = unquote(rd.name[:0], raw)
	return rd.name, err
}

// unquote appends the text of a JSON string.
func unquote(dst []byte, raw jsontext.Value) ([]byte, error) {
	for _, c := range raw {
		if c == '\\' {
			return jsontext.AppendUnquote(dst, raw)
		}
	}
	return append(dst, raw[1:len(raw)-1]...), nil
}

// flatTime reads RFC 3339 or seconds since 1970.
func flatTime(raw jsontext.Value) (time.Time, bool) {
	if raw[0] == '"' {
		return parseRFC3339(raw)
	}
	return numberTime(raw, 1)
}

// parseRFC3339 reads a JSON string that holds an instant.
func parseRFC3339(raw jsontext.Value) (time.Time, bool) {
	var memory [40]byte // longer ones are none
	text, err := unquote(memory[:0], raw)
	if err != nil {
		return time.Time{}, false
	}
	var t time.Time
	if err := t.UnmarshalText(text); err != nil {
		return time.Time{}, false
	}
	return t.UTC(), t.Unix() >= 0 && t.Unix() < endOfTime
}

// endOfTime is the first second of the year 10000, which RFC 3339 cannot write.
const endOfTime = 253402300800

// numberTime reads a number of units since 1970, of which a second has perSecond.
// It is rounded to a microsecond: more than float64 holds of today's seconds, and
// 1320078429.001 must not become one millisecond less.
func numberTime(raw []byte, perSecond float64) (time.Time, bool) {
	if c := raw[0]; c != '-' && (c < '0' || c > '9') {
		return time.Time{}, false
	}
	x, ok := parseNumber(raw)
	if !ok {
		return time.Time{}, false
	}
	return secondsTime(x / perSecond)
}
