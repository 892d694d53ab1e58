package intake

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/policy/sensing"
)

// decoding is a mapping made ready: where in a payload what stands, and in which
// unit.
type decoding struct {
	number bool   // the payload is a plain number of field
	field  target // of number
	tree   pointerNode
	probe  bool // the readings are a probe's: zone-wide signals of it go to the zone
}

// target is one thing to take from a place in the payload.
type target struct {
	signal    sensing.Signal
	in        conversion
	isTime    bool
	rfc3339   bool
	perSecond float64 // of a time that is a number
}

// pointerNode is one reference token of the JSON Pointers of a mapping.
type pointerNode struct {
	token    string
	index    int // of an array, -1 when the token is none
	children []pointerNode
	targets  []target
}

// newDecoding checks a mapping's fields and puts their pointers into a tree.
func newDecoding(m *Mapping) (*decoding, error) {
	d := &decoding{probe: m.Probe != "" || hasLevel(m.Topic, probeLevel)}
	if (m.Number != nil) == (len(m.JSON) > 0) {
		return nil, errors.New("the entry says not how a message is read; expected one of json and number")
	}
	if m.Number != nil {
		t, err := newTarget(m, m.Number)
		d.number, d.field = true, t
		return d, err
	}
	var errs []error
	for i := range m.JSON {
		t, err := newTarget(m, &m.JSON[i])
		if err == nil {
			err = d.tree.insert(m.JSON[i].At, t)
		}
		if err != nil {
			errs = append(errs, err)
		}
	}
	if m.Time != nil {
		t, err := timeTarget(m.Time)
		if err == nil {
			err = d.tree.insert(m.Time.At, t)
		}
		if err != nil {
			errs = append(errs, err)
		}
	}
	return d, errors.Join(errs...)
}

// newTarget finds the conversion of a field and checks that it may come from the
// kind of source that the mapping names.
func newTarget(m *Mapping, f *Field) (target, error) {
	if int(f.Signal) >= sensing.SignalCount {
		return target{}, fmt.Errorf("signal %d is not there; expected one of the %d signals", f.Signal, sensing.SignalCount)
	}
	t := target{signal: f.Signal, in: asIs}
	if f.Unit != "" {
		var ok bool
		if t.in, ok = conversionOf(f.Signal, []byte(f.Unit), m.PercentIsHundredths); !ok {
			return t, CheckUnit(f.Signal.String(), f.Unit)
		}
	}
	may := ofZone
	switch {
	case m.Climate != "":
		may = ofClimate
	case m.Probe != "" || hasLevel(m.Topic, probeLevel):
		may = ofZone | ofProbe
	}
	if scopeOf[f.Signal]&may == 0 {
		return t, fmt.Errorf("%s: %s; expected %s", f.Signal, WrongSource.description().What, WrongSource.description().Expected)
	}
	return t, nil
}

func timeTarget(f *TimeField) (target, error) {
	t := target{isTime: true}
	switch f.Unit {
	case "rfc3339", "":
		t.rfc3339 = true
	case "s":
		t.perSecond = 1
	case "ms":
		t.perSecond = 1e3
	case "us":
		t.perSecond = 1e6
	case "ns":
		t.perSecond = 1e9
	default:
		return t, fmt.Errorf("%q is not a unit of time; expected s, ms, us, ns or rfc3339", f.Unit)
	}
	return t, nil
}

// insert hangs a target where a JSON Pointer (RFC 6901) leads.
func (n *pointerNode) insert(pointer string, t target) error {
	if !strings.HasPrefix(pointer, "/") {
		return fmt.Errorf("%q is not a JSON Pointer; expected one that starts with / such as /ec/bulk", pointer)
	}
	for _, token := range strings.Split(pointer[1:], "/") {
		token = strings.NewReplacer("~1", "/", "~0", "~").Replace(token)
		n = n.child(token)
	}
	n.targets = append(n.targets, t)
	return nil
}

func (n *pointerNode) child(token string) *pointerNode {
	for i := range n.children {
		if n.children[i].token == token {
			return &n.children[i]
		}
	}
	index, err := strconv.Atoi(token)
	if err != nil || index < 0 || strconv.Itoa(index) != token { // no signs, no leading zeros (section 4)
		index = -1
	}
	n.children = append(n.children, pointerNode{token: token, index: index})
	return &n.children[len(n.children)-1]
}

// foreign reads a JSON message of a mapping.
func (rd *reader) foreign() Reason {
	rd.readings = append(rd.readings, reading{at: rd.arrived})
	return rd.descend(&rd.mapping.tree)
}

// descend reads one JSON value, at the place of n.
func (rd *reader) descend(n *pointerNode) Reason {
	kind := rd.dec.PeekKind()
	switch {
	case len(n.children) > 0 && kind == '{':
		return rd.descendObject(n)
	case len(n.children) > 0 && kind == '[':
		return rd.descendArray(n)
	}
	raw, err := rd.dec.ReadValue()
	if err != nil {
		return rd.broken(err)
	}
	if raw[0] == 'n' {
		return ""
	}
	for i := range n.targets {
		if reason := rd.reach(&n.targets[i], n.token, raw); reason != "" {
			return reason
		}
	}
	return ""
}

func (rd *reader) descendObject(n *pointerNode) Reason {
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	for rd.dec.PeekKind() != '}' {
		name, err := rd.readName()
		if err != nil {
			return rd.broken(err)
		}
		i := slices.IndexFunc(n.children, func(c pointerNode) bool { return c.token == string(name) })
		if reason := rd.enter(n, i); reason != "" {
			return reason
		}
	}
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	return ""
}

func (rd *reader) descendArray(n *pointerNode) Reason {
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	for at := 0; rd.dec.PeekKind() != ']'; at++ {
		i := slices.IndexFunc(n.children, func(c pointerNode) bool { return c.index == at })
		if reason := rd.enter(n, i); reason != "" {
			return reason
		}
	}
	if _, err := rd.dec.ReadToken(); err != nil {
		return rd.broken(err)
	}
	return ""
}

// enter takes the value of a member or an element: along child i of n, or past it
// where no pointer leads there, i below 0.
func (rd *reader) enter(n *pointerNode, i int) Reason {
	if i >= 0 {
		return rd.descend(&n.children[i])
	}
	if err := rd.dec.SkipValue(); err != nil {
		return rd.broken(err)
	}
	return ""
}

// reach takes the value that a pointer led to. A time that cannot be read refuses
// the message.
func (rd *reader) reach(t *target, token string, raw jsontext.Value) Reason {
	r := &rd.readings[0]
	if t.isTime {
		at, ok := targetTime(t, raw)
		if !ok {
			return rd.fail(NotATime, []byte(token), raw)
		}
		r.at, r.own = at, true
		return ""
	}
	x, ok := foreignScalar(t.signal, raw)
	rd.receive(r, t, x, ok, raw)
	return ""
}

// receive sets a signal's value, at the probe or, for a zone-wide signal of a
// mapping that names a probe, at the zone.
func (rd *reader) receive(r *reading, t *target, x float64, isNumber bool, raw []byte) {
	v := &r.values
	if rd.mapping.probe && scopeOf[t.signal]&ofProbe == 0 {
		v = &r.zone
	}
	reason := NotANumber
	if isNumber {
		reason = put(v, t.signal, x, t.in)
	}
	if reason != "" && rd.refusal.Reason == "" {
		rd.refusal = Refusal{Reason: reason, Where: t.signal.String(), Value: shown(raw)}
	}
}

// targetTime reads an instant as the mapping says; a number may be written as a
// string here too.
func targetTime(t *target, raw jsontext.Value) (time.Time, bool) {
	if t.rfc3339 {
		if raw[0] != '"' {
			return time.Time{}, false
		}
		return parseRFC3339(raw)
	}
	if raw[0] != '"' {
		return numberTime(raw, t.perSecond)
	}
	x, ok := decimal(raw[1 : len(raw)-1])
	if !ok {
		return time.Time{}, false
	}
	return secondsTime(x / t.perSecond)
}

// foreignScalar is scalar that also takes a number written as a string, as many
// gateways do.
func foreignScalar(s sensing.Signal, raw jsontext.Value) (float64, bool) {
	if raw[0] == '"' {
		return plainNumber(s, raw[1:len(raw)-1])
	}
	return scalar(s, raw)
}

// plain reads a message that is a number and nothing else.
func (rd *reader) plain(payload []byte) Reason {
	rd.readings = append(rd.readings, reading{at: rd.arrived})
	text := bytes.TrimSpace(payload)
	if len(text) == 0 || string(text) == "null" {
		return Empty
	}
	x, ok := plainNumber(rd.mapping.field.signal, text)
	rd.receive(&rd.readings[0], &rd.mapping.field, x, ok, text)
	return ""
}

// plainNumber reads a decimal number, or true and false of a valve.
func plainNumber(s sensing.Signal, text []byte) (float64, bool) {
	if s == sensing.ValveOpen {
		switch string(text) {
		case "true":
			return 1, true
		case "false":
			return 0, true
		}
	}
	return decimal(text)
}

// decimal reads a decimal number. Go's own parser takes more: hexadecimal,
// infinities, underscores.
func decimal(text []byte) (float64, bool) {
	for _, c := range text {
		switch {
		case c >= '0' && c <= '9', c == '.', c == '-', c == '+', c == 'e', c == 'E':
		default:
			return 0, false
		}
	}
	return parseNumber(text)
}
