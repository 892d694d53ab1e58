package policy

import (
	"bytes"
	"encoding/binary"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rhizostat/policy/forecast"
	"rhizostat/policy/learning"
	"rhizostat/policy/sensing"
)

// Without slices the layout is that of encoding/binary.
func TestTheLayoutIsThatOfTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		type plain struct {
			Learned   learning.Zone
			Forecasts forecast.Record
			Opinion   sensing.Opinion
			I8        int8
			I16       int16
			Truth     [3]bool
		}
		var in, out plain
		size := binary.Size(in)
		data := bytes.Repeat(rapid.SliceOfN(rapid.Byte(), 1, 997).Draw(t, "data"), size)[:size]
		if err := binary.Read(bytes.NewReader(data), binary.LittleEndian, &in); err != nil {
			t.Fatal(err)
		}
		want, err := binary.Append(nil, binary.LittleEndian, &in)
		if err != nil {
			t.Fatal(err)
		}
		got := appendPlain(nil, reflect.ValueOf(&in).Elem())
		if !bytes.Equal(got, want) {
			t.Fatal("what is appended differs")
		}
		rest, err := readPlain(append(got, 1, 2, 3), reflect.ValueOf(&out).Elem())
		if err != nil || len(rest) != 3 {
			t.Fatalf("%d bytes left, error %v; expected the 3 that follow", len(rest), err)
		}
		if !bytes.Equal(appendPlain(nil, reflect.ValueOf(&out).Elem()), want) {
			t.Fatal("what is read back differs")
		}
	})
}

func TestSlicesAreLaidOut(t *testing.T) {
	type plain struct {
		A int16
		S sensing.Each[float32]
		N sensing.Each[struct{ B bool }]
		Z uint8
	}
	in := plain{-2, sensing.Each[float32]{1.5, float32(math.Inf(1))}, nil, 7}
	data := appendPlain(nil, reflect.ValueOf(&in).Elem())
	if len(data) != 2+1+8+1+1 {
		t.Errorf("%d bytes; expected 13", len(data))
	}
	var out plain
	if rest, err := readPlain(data, reflect.ValueOf(&out).Elem()); err != nil || len(rest) != 0 || !reflect.DeepEqual(in, out) {
		t.Errorf("read back %+v, %d bytes left, error %v; expected %+v", out, len(rest), err, in)
	}
	for n := range data {
		if _, err := readPlain(data[:n], reflect.ValueOf(new(plain)).Elem()); err == nil || !strings.Contains(err.Error(), "EOF") {
			t.Errorf("%d bytes: error %v; expected one with EOF", n, err)
		}
	}
	data[2] = MaxProbes + 1
	if _, err := readPlain(append(data, make([]byte, 1000)...), reflect.ValueOf(&out).Elem()); err == nil || !strings.Contains(err.Error(), "at most 16") {
		t.Errorf("%d of a slice: error %v; expected one with at most 16", MaxProbes+1, err)
	}
}
