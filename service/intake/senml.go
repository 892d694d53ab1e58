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
	name        []byte
	time, value float64
	unit        senMLUnit
}

// senMLUnit is a unit as a record names it.
type senMLUnit struct {
	given  bool
	symbol [16]byte // long enough for every unit of the table and one more
	length uint8
}

// text is the unit's symbol.
func (u *senMLUnit) text() []byte { return u.symbol[:u.length] }

// senMLKind is the kind of value that a record carries.
type senMLKind uint8

const (
	noValue senMLKind = iota
	numeric           // v
	boolean           // vb
	other             // vs, vd: no signal is a text
)

// senMLRecord is one record; resolve adds what the base fields say.
type senMLRecord struct {
	kind        senMLKind
	named       bool    // n is there
	timed       bool    // t is there
	summed      bool    // s is there: no signal is a sum over time
	doubled     bool    // more than one of v, vb, vs, vd
	time, value float64 // s; in its unit, 1 and 0 of a boolean
	unit        senMLUnit
}

// senML reads a pack (RFC 8428, JSON). The base name and the name make a path; its
// last element, after the last of `/`, `:` and `.`, is the signal: `water_content`,
// `urn:dev:mac:0024befffe804ff1:water_content` and `p1/water_content` are the same.
// Whose it is the topic says, not the name. A record without a unit is in the
// signal's base unit. Sums (`s`), strings and data are of no signal.
//
// take is given each resolved record, its name in rd.name; a reason from it
// refuses the pack.
func (rd *reader) senML(take func(*reader, *senMLRecord) Reason) Reason {
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	rd.pack = senMLBase{name: rd.pack.name[:0]}
	for rd.dec.PeekKind() != ']' {
		if rd.dec.PeekKind() != '{' {
			if err := rd.dec.SkipValue(); err != nil {
				return rd.broken(err)
			}
			return Malformed
		}
		record := &rd.record
		*record = senMLRecord{}
		if reason := rd.senMLRecord(record, &rd.pack); reason != "" {
			return reason
		}
		has, reason := rd.resolve(record, &rd.pack)
		if reason == "" && has {
			reason = take(rd, record)
		}
		if reason != "" {
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
	if record.doubled { // at most one of v, vs, vb, vd
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
		base.name, ok = text(base.name[:0], raw)
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
		record.is(numeric)
	case "vb":
		ok = raw[0] == 't' || raw[0] == 'f'
		if raw[0] == 't' {
			record.value = 1
		}
		record.is(boolean)
	case "vs", "vd":
		ok = raw[0] == '"'
		record.is(other)
	case "s":
		_, ok = finite(raw)
		record.summed = true
	default:
		if len(field) > 0 && field[len(field)-1] == '_' {
			return MustUnderstand
		}
	}
	if !ok {
		return Malformed
	}
	return ""
}

// is notes the kind of the record's value.
func (record *senMLRecord) is(kind senMLKind) {
	record.doubled = record.doubled || record.kind != noValue
	record.kind = kind
}

// resolve adds the base fields to a record (section 4.6). It reports false for a
// record of base fields alone.
func (rd *reader) resolve(record *senMLRecord, base *senMLBase) (has bool, reason Reason) {
	if record.kind == noValue && !record.summed {
		if record.named || record.timed {
			return false, Malformed // neither a value nor base fields alone
		}
		return false, ""
	}
	if len(rd.resolvedName()) == 0 {
		return false, Malformed
	}
	record.time += base.time
	if record.kind == numeric {
		record.value += base.value
	}
	if !record.unit.given {
		record.unit = base.unit
	}
	return true, ""
}

// takeSenML takes the value of a resolved record. What is wrong with it drops this
// record, never the pack.
func takeSenML(rd *reader, record *senMLRecord) Reason {
	name := rd.name
	signal, ok := signals[string(lastElement(name))]
	switch {
	case !ok:
		rd.drop(UnknownSignal, name, nil)
		return ""
	case scopeOf[signal]&rd.source.scope() == 0:
		rd.drop(WrongSource, name, nil)
		return ""
	case record.kind != numeric && !(record.kind == boolean && signal == sensing.ValveOpen):
		rd.drop(NotANumber, name, nil)
		return ""
	}
	at, own, ok := rd.senMLTime(record.time)
	if !ok {
		rd.dropValue(NotATime, name, record.time, nil)
		return ""
	}
	c := asIs
	if record.unit.given && record.kind == numeric {
		if c, ok = conversionOf(signal, record.unit.text(), rd.source.hundredths); !ok {
			rd.drop(UnknownUnit, name, record.unit.text())
			return ""
		}
	}
	r := rd.add(at, own, signal)
	if reason := put(&r.values, signal, record.value, c); reason != "" {
		rd.dropValue(reason, name, record.value, record.unit.text())
	}
	return ""
}

// resolvedName puts the base name before the name, in rd.name.
func (rd *reader) resolvedName() []byte {
	if len(rd.pack.name) == 0 {
		return rd.name
	}
	n := len(rd.name)
	rd.name = append(rd.name, rd.pack.name...) // room first, then in order
	copy(rd.name[len(rd.pack.name):], rd.name[:n])
	copy(rd.name, rd.pack.name)
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
