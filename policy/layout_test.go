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
		layout := layoutOf[plain]()
		size := binary.Size(in)
		data := bytes.Repeat(rapid.SliceOfN(rapid.Byte(), 1, 997).Draw(t, "data"), size)[:size]
		if err := binary.Read(bytes.NewReader(data), binary.LittleEndian, &in); err != nil {
			t.Fatal(err)
		}
		want, err := binary.Append(nil, binary.LittleEndian, &in)
		if err != nil {
			t.Fatal(err)
		}
		got := layout.append(nil, &in)
		if !bytes.Equal(got, want) {
			t.Fatal("what is appended differs")
		}
		rest, err := layout.read(append(got, 1, 2, 3), &out)
		if err != nil || len(rest) != 3 {
			t.Fatalf("%d bytes left, error %v; expected the 3 that follow", len(rest), err)
		}
		if !bytes.Equal(layout.append(nil, &out), want) {
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
	layout := layoutOf[plain]()
	data := layout.append(nil, &in)
	if len(data) != 2+1+8+1+1 {
		t.Errorf("%d bytes; expected 13", len(data))
	}
	var out plain
	if rest, err := layout.read(data, &out); err != nil || len(rest) != 0 || !reflect.DeepEqual(in, out) {
		t.Errorf("read back %+v, %d bytes left, error %v; expected %+v", out, len(rest), err, in)
	}
	for n := range data {
		if _, err := layout.read(data[:n], new(plain)); err == nil || !strings.Contains(err.Error(), "EOF") {
			t.Errorf("%d bytes: error %v; expected one with EOF", n, err)
		}
	}
	data[2] = MaxProbes + 1
	if _, err := layout.read(append(data, make([]byte, 1000)...), &out); err == nil || !strings.Contains(err.Error(), "at most 16") {
		t.Errorf("%d of a slice: error %v; expected one with at most 16", MaxProbes+1, err)
	}
}
