// Package edgenode writes Sparkplug B payloads as an edge node does, apart from the
// code that reads them. Only tests import it.
package edgenode

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/encoding/protowire"
)

// Payload is a message.
type Payload struct {
	Timestamp uint64 // ms since 1970, 0: none
	Metrics   []Metric
	Seq       int // below 0: none
}

// Metric is one metric; zero members are left out.
type Metric struct {
	Name       string
	Alias      uint64 // 0: none
	Timestamp  uint64 // ms since 1970
	Type       uint32 // index of the data type
	Historical bool
	Null       bool
	Quality    uint32 // 0: no such property
	Value      any    // uint32 int_value, uint64 long_value, float32, float64, bool, string, []byte
}

// Encode gives the bytes of the message.
func (p Payload) Encode() []byte {
	var out []byte
	if p.Timestamp > 0 {
		out = number(out, 1, p.Timestamp)
	}
	for _, m := range p.Metrics {
		out = part(out, 2, m.encode())
	}
	if p.Seq >= 0 {
		out = number(out, 3, uint64(p.Seq))
	}
	return out
}

func (m Metric) encode() []byte {
	var out []byte
	if m.Name != "" {
		out = part(out, 1, []byte(m.Name))
	}
	for _, f := range []struct {
		number protowire.Number
		value  uint64
	}{{2, m.Alias}, {3, m.Timestamp}, {4, uint64(m.Type)}, {5, protowire.EncodeBool(m.Historical)}, {7, protowire.EncodeBool(m.Null)}} {
		if f.value > 0 {
			out = number(out, f.number, f.value)
		}
	}
	switch v := m.Value.(type) {
	case nil:
	case uint32:
		out = number(out, 10, uint64(v))
	case uint64:
		out = number(out, 11, v)
	case float32:
		out = protowire.AppendFixed32(protowire.AppendTag(out, 12, protowire.Fixed32Type), math.Float32bits(v))
	case float64:
		out = protowire.AppendFixed64(protowire.AppendTag(out, 13, protowire.Fixed64Type), math.Float64bits(v))
	case bool:
		out = number(out, 14, protowire.EncodeBool(v))
	case string:
		out = part(out, 15, []byte(v))
	case []byte:
		out = part(out, 16, v)
	default:
		panic(fmt.Sprintf("edgenode: no value field for %T", v))
	}
	if m.Quality > 0 {
		quality := number(number(nil, 1, 3), 3, uint64(m.Quality))
		set := part(part(part(nil, 1, []byte("Unit")), 1, []byte("Quality")), 2, number(nil, 1, 12))
		out = part(out, 9, part(set, 2, quality))
	}
	return out
}

func number(dst []byte, n protowire.Number, v uint64) []byte {
	return protowire.AppendVarint(protowire.AppendTag(dst, n, protowire.VarintType), v)
}

func part(dst []byte, n protowire.Number, b []byte) []byte {
	return protowire.AppendBytes(protowire.AppendTag(dst, n, protowire.BytesType), b)
}
