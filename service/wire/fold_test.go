package wire

import (
	"bytes"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rhizostat/policy/advice"
)

// What is folded comes back as it was, and takes little.
func TestFold(t *testing.T) {
	for name, of := range map[string]*advice.Advice{"irrigate": sampleAdvice(), "withhold": sampleWithhold(), "inspect": sampleInspect()} {
		a := mustFrom(t, of)
		for _, e := range advice.Catalogue()[:12] { // as many sentences as a long one has
			a.Reasons = append(a.Reasons, Reason{e.Code, e.Text})
		}
		plain, err := a.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		folded, err := a.Fold()
		if err != nil {
			t.Fatal(err)
		}
		if len(folded) > len(plain)/4 {
			t.Errorf("%s: %d bytes are folded to %d; expected a quarter at most", name, len(plain), len(folded))
		}
		if payload, err := folded.Payload(); err != nil || !bytes.Equal(payload, plain) {
			t.Errorf("%s: %v; it was %s, it is %s", name, err, plain, payload)
		}
		again, err := folded.Unfold()
		if err != nil {
			t.Fatal(err)
		}
		want, err := ParseAdvice(plain)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, again); diff != "" {
			t.Errorf("%s: (-published +unfolded)\n%s", name, diff)
		}
	}
	if _, err := Folded("\xff\x00").Payload(); err == nil {
		t.Error("what was never folded is taken")
	}
}

func BenchmarkFold(b *testing.B) {
	a := mustFrom(b, sampleAdvice())
	for _, e := range advice.Catalogue()[:12] {
		a.Reasons = append(a.Reasons, Reason{e.Code, e.Text})
	}
	folded, err := a.Fold()
	if err != nil {
		b.Fatal(err)
	}
	b.Run("fold", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := a.Fold(); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(len(folded)), "B")
	})
	b.Run("unfold", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := folded.Unfold(); err != nil {
				b.Fatal(err)
			}
		}
	})
}
