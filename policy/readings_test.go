package policy

import (
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// Bulk EC without a model gives the diagnosis what it needs, and nobody a pore EC.
func TestBulkECWithoutAModelIsNoPoreEC(t *testing.T) {
	s := bench()
	s.StateEvery = time.Minute
	z, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	var state *State
	at := monday
	for range 30 {
		at = at.Add(time.Minute)
		e := Event{Kind: Reading, At: at, Stamp: at}
		e.Values.Set(sensing.WaterContent, 0.5)
		e.Values.Set(sensing.BulkEC, 0.8)
		if out := z.Step(e); out.State != nil {
			state = out.State
		}
	}
	if state == nil || state.PoreEC != nil {
		t.Errorf("published %+v", state)
	}
	z.fillDiagnosis(&z.scratch.diagnosis, at.UnixMilli())
	if x := z.scratch.diagnosis.SaltIndex; !x.Known || x.Value < 3.19 || x.Value > 3.21 {
		t.Errorf("salt index %+v; expected 0.8 / 0.5^2", x)
	}
}
