package wire

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/encoding/protowire"
)

// The fields of a Sparkplug B payload, of a metric in it, and of a metric's
// properties, by their numbers in the schema of chapter 6.
const (
	payloadTimestamp protowire.Number = 1
	payloadMetrics   protowire.Number = 2
	payloadSeq       protowire.Number = 3

	metricName       protowire.Number = 1
	metricAlias      protowire.Number = 2
	metricTimestamp  protowire.Number = 3
	metricDatatype   protowire.Number = 4
	metricHistorical protowire.Number = 5
	metricIsNull     protowire.Number = 7
	metricProperties protowire.Number = 9
	metricInt        protowire.Number = 10
	metricLong       protowire.Number = 11
	metricFloat      protowire.Number = 12
	metricDouble     protowire.Number = 13
	metricBoolean    protowire.Number = 14
	metricString     protowire.Number = 15
	metricBytes      protowire.Number = 16
	metricDataSet    protowire.Number = 17
	metricTemplate   protowire.Number = 18

	propertyKeys   protowire.Number = 1
	propertyValues protowire.Number = 2
	propertyInt    protowire.Number = 3
)

// SparkplugPayload is a message of Sparkplug B, checked whole. It keeps the bytes
// that it was read from.
type SparkplugPayload struct {
	Timestamp    uint64 // ms since 1970
	HasTimestamp bool
	Seq          uint64
	HasSeq       bool
	Count        int // of metrics
	raw          []byte
}

// SparkplugValue says which value field of a metric is there.
type SparkplugValue uint8

// The value fields; Other is one that holds no single value.
const (
	NoValue SparkplugValue = iota
	IntValue
	LongValue
	FloatValue
	DoubleValue
	BooleanValue
	StringValue
	OtherValue
)

// SparkplugMetric is one metric of a message. Name and Text are parts of the message
// and not kept after it.
type SparkplugMetric struct {
	Name         []byte // empty where the alias stands for it
	Alias        uint64
	HasAlias     bool
	Timestamp    uint64 // ms since 1970
	HasTimestamp bool
	Type         SparkplugType // 0 where it is left to the birth certificate
	Historical   bool          // it was buffered, and its timestamp is of then
	Null         bool          // whatever Value says
	Quality      uint32        // SparkplugGood where the message says nothing
	Value        SparkplugValue
	Bits         uint64 // of the number or Boolean
	Text         []byte // of StringValue
}

// ParseSparkplug reads a message of Sparkplug B and checks all of it that this program
// knows; other fields are passed over, as Protocol Buffers want it.
func ParseSparkplug(payload []byte) (SparkplugPayload, error) {
	p := SparkplugPayload{raw: payload}
	var m SparkplugMetric
	err := eachField(payload, func(f field) error {
		switch f.number {
		case payloadTimestamp:
			p.Timestamp, p.HasTimestamp = f.value, true
			return f.is(protowire.VarintType, "timestamp")
		case payloadSeq:
			p.Seq, p.HasSeq = f.value, true
			return f.is(protowire.VarintType, "seq")
		case payloadMetrics:
			if err := f.is(protowire.BytesType, "metrics"); err != nil {
				return err
			}
			p.Count++
			if err := m.read(f.bytes); err != nil {
				return fmt.Errorf("metric %d: %w", p.Count, err)
			}
		}
		return nil
	})
	if err != nil {
		return SparkplugPayload{}, fmt.Errorf("payload of Sparkplug B: %w; expected one as Eclipse Sparkplug 3.0, chapter 6 has it", err)
	}
	return p, nil
}

// Metrics goes through the metrics of the message in their order. Each is good until
// the next.
func (p *SparkplugPayload) Metrics(yield func(*SparkplugMetric) bool) {
	var m SparkplugMetric
	for rest := p.raw; len(rest) > 0; {
		f, n := nextField(rest)
		if n < 0 { // ParseSparkplug has been through it
			panic(fmt.Sprintf("wire: a Sparkplug payload of %d bytes was sound and is not", len(p.raw)))
		}
		rest = rest[n:]
		if f.number != payloadMetrics {
			continue
		}
		if err := m.read(f.bytes); err != nil {
			panic(fmt.Sprintf("wire: a Sparkplug metric was sound and is not: %v", err))
		}
		if !yield(&m) {
			return
		}
	}
}

// read takes a metric from its bytes.
func (m *SparkplugMetric) read(b []byte) error {
	*m = SparkplugMetric{Quality: SparkplugGood}
	for len(b) > 0 {
		f, n := nextField(b)
		if n < 0 {
			return protowire.ParseError(n)
		}
		b = b[n:]
		if err := m.take(&f); err != nil {
			return err
		}
	}
	return nil
}

func (m *SparkplugMetric) take(f *field) error {
	switch f.number {
	case metricName:
		m.Name = f.bytes
		return f.is(protowire.BytesType, "name")
	case metricAlias:
		m.Alias, m.HasAlias = f.value, true
		return f.is(protowire.VarintType, "alias")
	case metricTimestamp:
		m.Timestamp, m.HasTimestamp = f.value, true
		return f.is(protowire.VarintType, "timestamp")
	case metricDatatype:
		m.Type = SparkplugType(f.value)
		return f.is(protowire.VarintType, "datatype")
	case metricHistorical:
		m.Historical = f.value != 0
		return f.is(protowire.VarintType, "is_historical")
	case metricIsNull:
		m.Null = f.value != 0
		return f.is(protowire.VarintType, "is_null")
	case metricProperties:
		if err := f.is(protowire.BytesType, "properties"); err != nil {
			return err
		}
		return m.properties(f.bytes)
	}
	return m.takeValue(f)
}

// takeValue takes one of the value fields; of several the last counts, as of any
// oneof.
func (m *SparkplugMetric) takeValue(f *field) error {
	set := func(v SparkplugValue, of protowire.Type, name string) error {
		m.Value, m.Bits, m.Text = v, f.value, f.bytes
		return f.is(of, name)
	}
	switch f.number {
	case metricInt:
		f.value = uint64(uint32(f.value))
		return set(IntValue, protowire.VarintType, "int_value")
	case metricLong:
		return set(LongValue, protowire.VarintType, "long_value")
	case metricFloat:
		return set(FloatValue, protowire.Fixed32Type, "float_value")
	case metricDouble:
		return set(DoubleValue, protowire.Fixed64Type, "double_value")
	case metricBoolean:
		return set(BooleanValue, protowire.VarintType, "boolean_value")
	case metricString:
		return set(StringValue, protowire.BytesType, "string_value")
	case metricBytes, metricDataSet, metricTemplate:
		return set(OtherValue, protowire.BytesType, "a value")
	}
	return nil
}

// properties takes the quality, the one property that means something here: the n-th
// key belongs to the n-th value.
func (m *SparkplugMetric) properties(b []byte) error {
	const quality = "Quality"
	at, n := -1, 0
	err := eachField(b, func(f field) error {
		if f.number != propertyKeys {
			return nil
		}
		if string(f.bytes) == quality {
			at = n
		}
		n++
		return f.is(protowire.BytesType, "property key")
	})
	if err != nil || at < 0 {
		return err
	}
	n = 0
	return eachField(b, func(f field) error {
		if f.number != propertyValues {
			return nil
		}
		if err := f.is(protowire.BytesType, "property value"); err != nil {
			return err
		}
		if n++; n-1 != at {
			return nil
		}
		return eachField(f.bytes, func(v field) error {
			if v.number == propertyInt {
				m.Quality = uint32(v.value)
				return v.is(protowire.VarintType, "quality")
			}
			return nil
		})
	})
}

// Number gives a number as its type means it: the metric's own type, or else the
// declared one of its birth certificate. Signed integers come as two's complement in
// an unsigned field, of the field's width or of their own; that is how encoders do
// it, the specification does not spell it out. False where the value is no number, or
// none that its type can be, or is an integer of which nobody has said whether it is
// signed.
func (m *SparkplugMetric) Number(declared SparkplugType) (float64, bool) {
	t := m.Type
	if t == 0 {
		t = declared
	}
	switch m.Value {
	case FloatValue:
		return float64(math.Float32frombits(uint32(m.Bits))), t == 0 || t == SparkplugFloat || t == SparkplugDouble
	case DoubleValue:
		return math.Float64frombits(m.Bits), t == 0 || t == SparkplugFloat || t == SparkplugDouble
	case IntValue:
		return integer(m.Bits, 32, t)
	case LongValue:
		return integer(m.Bits, 64, t)
	}
	return 0, false
}

// integer reads the bits of a field of a width as an integer of a type.
func integer(bits uint64, width int, t SparkplugType) (float64, bool) {
	own, signed := t.bits()
	switch {
	case own == 0 || own > width:
		return 0, false
	case !signed:
		return float64(bits), own == 64 || bits < 1<<own
	case own < 64 && bits < 1<<own: // of the type's own width
		shift := 64 - own
		return float64(int64(bits<<shift) >> shift), true
	}
	n := int64(bits) // of the field's width
	if width == 32 {
		n = int64(int32(uint32(bits)))
	}
	return float64(n), own == 64 || n < 0 && n >= -1<<(own-1)
}

// field is one field of a message: value of a number, bytes of what has a length.
type field struct {
	number protowire.Number
	kind   protowire.Type
	value  uint64
	bytes  []byte
}

// is checks that a field is encoded as the schema has it.
func (f *field) is(kind protowire.Type, name string) error {
	if f.kind != kind {
		return fmt.Errorf("field %d (%s) has wire type %d; expected %d", f.number, name, f.kind, kind)
	}
	return nil
}

// nextField reads the first field of b and gives its length; below 0 it is an error of
// protowire.
func nextField(b []byte) (f field, n int) {
	number, kind, n := protowire.ConsumeTag(b)
	if n < 0 {
		return f, n
	}
	f.number, f.kind = number, kind
	size := 0
	switch rest := b[n:]; kind {
	case protowire.VarintType:
		f.value, size = protowire.ConsumeVarint(rest)
	case protowire.Fixed32Type:
		var v uint32
		v, size = protowire.ConsumeFixed32(rest)
		f.value = uint64(v)
	case protowire.Fixed64Type:
		f.value, size = protowire.ConsumeFixed64(rest)
	case protowire.BytesType:
		f.bytes, size = protowire.ConsumeBytes(rest)
	default:
		size = protowire.ConsumeFieldValue(number, kind, rest)
	}
	if size < 0 {
		return f, size
	}
	return f, n + size
}

// eachField goes through the fields of a message.
func eachField(b []byte, take func(field) error) error {
	for len(b) > 0 {
		f, n := nextField(b)
		if n < 0 {
			return protowire.ParseError(n)
		}
		b = b[n:]
		if err := take(f); err != nil {
			return err
		}
	}
	return nil
}
