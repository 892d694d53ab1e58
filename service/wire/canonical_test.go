package wire

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"rhizostat/policy/advice"
)

// TestCanonicalReferences holds the canonical form against the published
// vectors of RFC 8785; the source stands on each row.
func TestCanonicalReferences(t *testing.T) {
	f, err := os.Open("../../testdata/references/canonical.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows[1:] {
		canonicalRow(t, r[0], r[1], r[2], r[3], r[5])
	}
	if len(rows) < 40 {
		t.Errorf("%d rows of references, want them all", len(rows))
	}
}

// canonicalRow checks one row of the references.
func canonicalRow(t *testing.T, id, quantity, inputs, want, tolerance string) {
	t.Helper()
	var in struct {
		JSON string `json:"json"`
		Bits string `json:"ieee754_hex"`
	}
	if err := json.Unmarshal([]byte(inputs), &in); err != nil {
		t.Fatal(id, err)
	}
	if in.Bits != "" {
		u, err := strconv.ParseUint(in.Bits, 16, 64)
		if err != nil {
			t.Fatal(id, err)
		}
		in.JSON = strconv.FormatFloat(math.Float64frombits(u), 'g', 17, 64)
	}
	canonical, err := Canonical([]byte(in.JSON))
	got := string(canonical)
	if quantity == "SHA-256 of canonical JSON" {
		sum := sha256.Sum256(canonical)
		got = hex.EncodeToString(sum[:])
	}
	switch {
	case tolerance == "refuse":
		if err == nil {
			t.Errorf("%s: %q, want an error", id, got)
		}
	case err != nil || got != want:
		t.Errorf("%s: %q (%v), want %q", id, got, err, want)
	}
}

// TestDigest: the digest of an advice is that over the members that the
// contract names, made here by hand and canonicalised by another library.
func TestDigest(t *testing.T) {
	const want = `{"action":"irrigate","id":"01M87DQ400V3T0W8M2K4R7N9XC","setpoints":{` +
		`"first_shot_at":"2026-11-25T07:10:00Z","last_shot_by":"2026-11-25T15:40:00Z","trigger_water_content":0.52,"target_water_content":0.60,` +
		`"trigger_by_probe":{"p1":0.55,"p2":0.5512},"shot_volume_ml":150,"run_time_s":270,"min_interval_s":1200,"max_volume_ml":1650,"drain_fraction":0.12,` +
		`"schedule":[{"at":"2026-11-25T07:10:00Z","volume_ml":150,"run_time_s":270},{"at":"2026-11-25T08:10:00Z","volume_ml":150,"run_time_s":270}]},` +
		`"site":"north","valid_from":"2026-11-25T06:00:00Z","valid_until":"2026-11-26T06:00:00Z","zone":"bench-07"}`
	canonical, err := jcs.Transform([]byte(want))
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(canonical)
	a := mustFrom(t, sampleAdvice())
	if got := a.Approval.Digest; got != "sha-256:"+hex.EncodeToString(sum[:]) {
		t.Errorf("digest %s, want sha-256:%x", got, sum)
	}
	changed := *a
	changed.Confidence, changed.Reasons = 0.1, nil
	if d, err := changed.Digest(); err != nil || d != a.Approval.Digest {
		t.Errorf("confidence and reasons changed the digest to %s (%v)", d, err)
	}
}

// TestDigestOfPublished: whoever reads an advice off the topic can work its
// digest out from the bytes alone, with any library for RFC 8785.
func TestDigestOfPublished(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := anyAdvice(t)
		w, err := FromAdvice(a)
		if err != nil {
			t.Fatal(err)
		}
		published, err := w.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		canonical, err := jcs.Transform([]byte(pick(t, published, "action", "id", "setpoints", "site", "valid_from", "valid_until", "zone")))
		if err != nil {
			t.Fatal(err)
		}
		sum := sha256.Sum256(canonical)
		if w.Approval.Digest != "sha-256:"+hex.EncodeToString(sum[:]) {
			t.Fatalf("digest %s of %s, want %x", w.Approval.Digest, published, sum)
		}
		again, err := ParseAdvice(published)
		if err != nil {
			t.Fatal(err)
		}
		if d, err := again.Digest(); err != nil || d != w.Approval.Digest {
			t.Fatalf("read back, its digest is %s (%v), was %s", d, err, w.Approval.Digest)
		}
		if b, err := again.Marshal(); err != nil || string(b) != string(published) {
			t.Fatalf("read back and written again\n%s, was\n%s", b, published)
		}
	})
}

// pick gives an object of some members of an object, with their bytes as they
// are.
func pick(t *rapid.T, object []byte, names ...string) string {
	var parts []string
	dec := jsontext.NewDecoder(strings.NewReader(string(object)))
	read := func() jsontext.Value {
		v, err := dec.ReadValue()
		if err != nil {
			t.Fatal(err)
		}
		return v.Clone()
	}
	if _, err := dec.ReadToken(); err != nil {
		t.Fatal(err)
	}
	for dec.PeekKind() != '}' {
		name, value := string(read()), string(read())
		for _, n := range names {
			if name == strconv.Quote(n) {
				parts = append(parts, name+":"+value)
			}
		}
	}
	return "{" + strings.Join(parts, ",") + "}"
}

// anyAdvice draws an advice with any numbers that the engine could come to.
func anyAdvice(t *rapid.T) *advice.Advice {
	a := sampleAdvice()
	a.Action = rapid.SampledFrom([]advice.Action{advice.Irrigate, advice.Leach}).Draw(t, "action")
	share := rapid.Float64Range(0, 1)
	s := a.Setpoints
	s.TriggerWaterContent, s.TargetWaterContent = share.Draw(t, "trigger"), share.Draw(t, "target")
	s.DrainFraction, a.Confidence = share.Draw(t, "drain"), share.Draw(t, "confidence")
	s.ShotVolumeML, s.RunTimeS, s.MaxVolumeML = rapid.IntRange(1, 3000).Draw(t, "shot"), rapid.IntRange(0, 7200).Draw(t, "run"), rapid.IntRange(0, 100_000).Draw(t, "max")
	s.TriggerByProbe = nil
	for _, id := range []string{"a", "b.1", "p-2"}[:rapid.IntRange(0, 3).Draw(t, "probes")] {
		s.TriggerByProbe = append(s.TriggerByProbe, advice.ProbeTrigger{Probe: id, WaterContent: share.Draw(t, id)})
	}
	s.Schedule = nil
	for i := range rapid.IntRange(0, 12).Draw(t, "shots") {
		s.Schedule = append(s.Schedule, advice.Shot{At: s.FirstShotAt.Add(time.Duration(i) * 17 * time.Minute), VolumeML: s.ShotVolumeML, RunTimeS: s.RunTimeS})
	}
	a.Reasons = []advice.Reason{{Code: "c", Text: rapid.String().Draw(t, "text")}}
	return a
}
