package intake

import (
	"math"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/policy/sensing"
)

const (
	// relativeBelow is the time under which a SenML time counts from now (RFC
	// 8428, section 4.5.3), seconds.
	relativeBelow = 1 << 28
	// senMLVersion is the version that RFC 8428 defines, the default of bver.
	senMLVersion = 10
	// senMLSecondary is version 10 with the feature of secondary units, code 4
	// (RFC 9100; memory). We know those units in any version.
	senMLSecondary = 26
)

// senMLBase is what base fields say from their record on.
type senMLBase struct {
	time, value float64
	unit        senMLUnit
}

// senMLUnit is a unit as a record names it.
type senMLUnit struct {
	given  bool
	symbol [16]byte // long enough for every unit of the table and one more
	length uint8
}

// senMLRecord is one record before it is resolved.
type senMLRecord struct {
	named, timed, valued, boolean bool // n; t; v; vb
	other                         bool // vs, vd: values of a kind that no signal is
	summed                        bool // s: no signal is a sum over time
	values                        int  // how many of v, vb, vs, vd
	time, value                   float64
	unit                          senMLUnit
}

// senML reads a pack (RFC 8428, JSON). The base name and the name make a path; its
// last element, after the last of `/`, `:` and `.`, is the signal: `water_content`,
// `urn:dev:mac:0024befffe804ff1:water_content` and `p1/water_content` are the same.
// Whose it is the topic says, not the name. A record without a unit is in the
// signal's base unit. Sums (`s`), strings and data are of no signal.
func (rd *reader) senML() Reason {
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	var base senMLBase
	rd.base = rd.base[:0]
	for rd.dec.PeekKind() != ']' {
		if rd.dec.PeekKind() != '{' {
			if err := rd.dec.SkipValue(); err != nil {
				return rd.broken(err)
			}
			return Malformed
		}
		var record senMLRecord
		if reason := rd.senMLRecord(&record, &base); reason != "" {
			return reason
		}
		if reason := rd.resolve(&record, &base); reason != "" {
			return reason
		}
	}
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	return ""
}

// senMLRecord reads the fields of one record. The name is left in rd.name.
func (rd *reader) senMLRecord(record *senMLRecord, base *senMLBase) Reason {
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	rd.name = rd.name[:0]
	for rd.dec.PeekKind() != '}' {
		label, err := rd.dec.ReadValue()
		if err != nil {
			return rd.broken(err)
		}
		var memory [8]byte // no label that we know is longer
		field, err := unquote(memory[:0], label)
		if err != nil {
			return rd.broken(err)
		}
		raw, err := rd.dec.ReadValue()
		if err != nil {
			return rd.broken(err)
		}
		if reason := rd.senMLField(record, base, field, raw); reason != "" {
			return rd.fail(reason, field, raw)
		}
	}
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	if record.values > 1 { // at most one of v, vs, vb, vd
		return Malformed
	}
	return ""
}

// senMLField takes one field. A label that is not known is ignored, one that ends
// in `_` must be understood and refuses the pack (section 4.4).
func (rd *reader) senMLField(record *senMLRecord, base *senMLBase, field []byte, raw jsontext.Value) Reason {
	ok := true
	switch string(field) {
	case "bn":
		rd.base, ok = text(rd.base[:0], raw)
	case "bt":
		base.time, ok = finite(raw)
	case "bu":
		base.unit, ok = unitField(raw)
	case "bv":
		base.value, ok = finite(raw)
	case "bs":
		_, ok = finite(raw)
	case "bver":
		version, isNumber := finite(raw)
		if ok = isNumber; ok && version > senMLVersion && version != senMLSecondary {
			return WrongVersion
		}
	case "n":
		rd.name, ok = text(rd.name[:0], raw)
		record.named = true
	case "u":
		record.unit, ok = unitField(raw)
	case "t":
		record.time, ok = finite(raw)
		record.timed = true
	case "v":
		ok = isNumber(raw)
		record.value, _ = parseNumber(raw)
		record.valued = true
		record.values++
	case "vb":
		ok = raw[0] == 't' || raw[0] == 'f'
		if raw[0] == 't' {
			record.value = 1
		}
		record.boolean = true
		record.values++
	case "vs", "vd":
		ok = raw[0] == '"'
		record.other = true
		record.values++
	case "s":
		_, ok = finite(raw)
		record.summed = true
	default:
		if len(field) > 0 && field[len(field)-1] == '_' {
			return WrongVersion
		}
	}
	if !ok {
		return Malformed
	}
	return ""
}

// resolve adds the base fields to a record and takes its value. A reason refuses
// the pack; what is wrong with one record drops that one.
func (rd *reader) resolve(record *senMLRecord, base *senMLBase) Reason {
	if record.values == 0 && !record.summed {
		if record.named || record.timed {
			return Malformed // neither a value nor base fields alone
		}
		return ""
	}
	name := rd.resolvedName()
	if len(name) == 0 {
		return Malformed
	}
	signal, ok := signals[string(lastElement(name))]
	switch {
	case !ok:
		rd.drop(UnknownSignal, name, nil)
		return ""
	case scopeOf[signal]&rd.source.scope() == 0:
		rd.drop(WrongSource, name, nil)
		return ""
	case record.boolean && signal != sensing.ValveOpen, !record.boolean && !record.valued:
		rd.drop(NotANumber, name, nil)
		return ""
	}
	at, own, ok := rd.senMLTime(base.time + record.time)
	if !ok {
		rd.drop(NotATime, name, nil)
		return ""
	}
	unit := record.unit
	if !unit.given {
		unit = base.unit
	}
	c := asIs
	if unit.given && !record.boolean {
		if c, ok = conversionOf(signal, unit.symbol[:unit.length], rd.source.hundredths); !ok {
			rd.drop(UnknownUnit, name, unit.symbol[:unit.length])
			return ""
		}
	}
	value := record.value
	if record.valued {
		value += base.value
	}
	r := rd.add(at, own, func(r *reading) bool { return !r.values.Has(signal) })
	if reason := put(&r.values, signal, value, c); reason != "" {
		rd.dropValue(reason, name, value)
	}
	return ""
}

// resolvedName puts the base name before the name, in rd.name.
func (rd *reader) resolvedName() []byte {
	if len(rd.base) == 0 {
		return rd.name
	}
	n := len(rd.name)
	rd.name = append(rd.name, rd.base...) // room first, then in order
	copy(rd.name[len(rd.base):], rd.name[:n])
	copy(rd.name, rd.base)
	return rd.name
}

// lastElement is what stands after the last of `/`, `:` and `.`.
func lastElement(name []byte) []byte {
	for i := len(name) - 1; i >= 0; i-- {
		if c := name[i]; c == '/' || c == ':' || c == '.' {
			return name[i+1:]
		}
	}
	return name
}

// senMLTime resolves a time: below 2^28 s it counts from the arrival.
func (rd *reader) senMLTime(s float64) (at time.Time, own, ok bool) {
	if s >= relativeBelow {
		at, ok = secondsTime(s)
		return at, true, ok
	}
	if s == 0 {
		return rd.arrived, false, true
	}
	at, ok = secondsTime(float64(rd.arrived.UnixMicro())/1e6 + s)
	return at, true, ok
}

// unitField reads a unit. One that is longer than any we know is kept by its
// beginning: it will not be found.
func unitField(raw jsontext.Value) (u senMLUnit, ok bool) {
	var memory [32]byte
	symbol, ok := text(memory[:0], raw)
	u.given = true
	u.length = uint8(copy(u.symbol[:], symbol))
	return u, ok
}

// text reads a JSON string.
func text(dst []byte, raw jsontext.Value) ([]byte, bool) {
	if raw[0] != '"' {
		return dst, false
	}
	dst, err := unquote(dst, raw)
	return dst, err == nil
}

// finite reads a JSON number that float64 holds.
func finite(raw jsontext.Value) (float64, bool) {
	if !isNumber(raw) {
		return 0, false
	}
	x, ok := parseNumber(raw)
	return x, ok && !math.IsInf(x, 0)
}

func isNumber(raw jsontext.Value) bool {
	return raw[0] == '-' || raw[0] >= '0' && raw[0] <= '9'
}
