package desk

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"

	"rhizostat/service/wire"
)

// key makes a key out of one byte; tests need no secrets.
func key(b byte) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed([]byte(strings.Repeat(string(b), ed25519.SeedSize)))
}

func sign(t testing.TB, k any, alg jose.SignatureAlgorithm, payload []byte) []byte {
	t.Helper()
	s, err := jose.NewSigner(jose.SigningKey{Algorithm: alg, Key: k}, nil)
	if err != nil {
		t.Fatal(err)
	}
	jws, err := s.Sign(payload)
	if err != nil {
		t.Fatal(err)
	}
	compact, err := jws.CompactSerialize()
	if err != nil {
		t.Fatal(err)
	}
	return []byte(compact)
}

func public(k ed25519.PrivateKey) ed25519.PublicKey { return k.Public().(ed25519.PublicKey) }

func signedRules() *Rules {
	r := openRules()
	r.Deciders = []Decider{
		{Name: "ana", Key: public(key('a')), Zones: []string{"*"}, May: []wire.Verdict{wire.Approve, wire.Reject, wire.Withdraw}},
		{Name: "ben", Key: public(key('b')), Zones: []string{"bench-08"}, May: []wire.Verdict{wire.Approve}},
		{Name: "cid", Key: public(key('c')), Zones: []string{"bench-07"}, May: []wire.Verdict{wire.Reject}},
	}
	return r
}

// raw signs header and payload by hand, for headers that no library would make.
func raw(k ed25519.PrivateKey, header string, payload []byte) []byte {
	e := base64.RawURLEncoding
	input := e.EncodeToString([]byte(header)) + "." + e.EncodeToString(payload)
	return []byte(input + "." + e.EncodeToString(ed25519.Sign(k, []byte(input))))
}

// TestSigned: what RFC 7515 (4.1.11, 5.2, 10) and RFC 8725 (3.1, 3.2) say must
// fail does, and so does whoever may not decide; memory where the sections give
// no example.
func TestSigned(t *testing.T) {
	a := plan(1, morning)
	plain := newTable(t).payload(a, wire.Approve, "")
	as := func(name string) []byte { return []byte(strings.Replace(string(plain), `"ana"`, `"`+name+`"`, 1)) }
	good := sign(t, key('a'), jose.EdDSA, plain)
	parts := strings.Split(string(good), ".")
	e := base64.RawURLEncoding
	for _, c := range []struct {
		name    string
		payload []byte
		want    wire.Refusal // "" accepted
	}{
		{"signed", good, ""},
		{"signed, with a newline after", append(append([]byte(nil), good...), '\n'), ""},
		{"plain", plain, wire.NotSigned},
		{"plain and malformed", []byte(`{"advice":1}`), wire.Malformed},
		{"alg none", []byte(e.EncodeToString([]byte(`{"alg":"none"}`)) + "." + parts[1] + "."), wire.NotSigned},
		{"alg HS256 with the public key as secret", sign(t, []byte(public(key('a'))), jose.HS256, plain), wire.NotSigned},
		{"key in the header", raw(key('x'), `{"alg":"EdDSA","jwk":{"kty":"OKP","crv":"Ed25519","x":"`+e.EncodeToString(public(key('x')))+`"}}`, plain), wire.NotSigned},
		{"a changed payload", []byte(parts[0] + "." + e.EncodeToString(as("anb")) + "." + parts[2]), wire.UnknownDecider},
		{"a changed note", []byte(parts[0] + "." + e.EncodeToString([]byte(strings.Replace(string(plain), `"n"`, `"m"`, 1))) + "." + parts[2]), wire.NotSigned},
		{"padding in the signature", []byte(string(good) + "=="), wire.NotSigned},
		{"a fourth part", []byte(string(good) + ".e30"), wire.Malformed},
		{"two parts", []byte(parts[0] + "." + parts[1]), wire.Malformed},
		{"crit not understood", raw(key('a'), `{"alg":"EdDSA","crit":["exp"],"exp":1}`, plain), wire.NotSigned},
		{"crit b64", raw(key('a'), `{"alg":"EdDSA","crit":["b64"],"b64":true}`, plain), wire.NotSigned},
		{"JSON serialisation", []byte(`{"payload":"` + parts[1] + `","protected":"` + parts[0] + `","signature":"` + parts[2] + `"}`), wire.Malformed},
		{"another's key", sign(t, key('b'), jose.EdDSA, plain), wire.NotSigned},
		{"unknown name", sign(t, key('a'), jose.EdDSA, as("dan")), wire.UnknownDecider},
		{"not this zone", sign(t, key('b'), jose.EdDSA, as("ben")), wire.NotAllowed},
		{"not this decision", sign(t, key('c'), jose.EdDSA, as("cid")), wire.NotAllowed},
		{"signed nonsense", sign(t, key('a'), jose.EdDSA, []byte("nonsense")), wire.Malformed},
		{"whitespace inside", []byte(parts[0] + "." + parts[1][:9] + "\n" + parts[1][9:] + "." + parts[2]), wire.NotSigned},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := newTable(t)
			x.SetRules(signedRules())
			x.propose(a, morning.Add(-12*time.Hour))
			o := x.Decide(c.payload, morning.Add(-11*time.Hour))
			got := wire.Refusal("")
			if o.Result.Reason != nil {
				got = wire.Refusal(o.Result.Reason.Code)
			}
			if got != c.want {
				t.Fatalf("refused with %q (%v), want %q", got, o.Result.Reason, c.want)
			}
			if accepted := x.InForce(morning.Add(-11*time.Hour)) != nil; accepted != (c.want == "") {
				t.Errorf("in force: %v", accepted)
			}
			if c.want != "" && c.want != wire.NotAllowed && len(o.Changes.Decisions) > 0 {
				t.Error("a decision of nobody in particular is on record")
			}
		})
	}
}

// TestReplayed: a signed decision counts once, also with its base64 written
// another way, and after a restart. While all stands where it put it, it is told
// again that it was accepted; after that it is refused.
func TestReplayed(t *testing.T) {
	a := plan(1, morning)
	good := sign(t, key('a'), jose.EdDSA, newTable(t).payload(a, wire.Approve, ""))
	// An Ed25519 signature has 64 bytes: the last of its 86 characters carries
	// four unused bits, which a lax decoder ignores.
	const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
	i := strings.IndexByte(alphabet, good[len(good)-1])
	other := append(append([]byte(nil), good[:len(good)-1]...), alphabet[i^1])

	now := morning.Add(-11 * time.Hour)
	x := newTable(t)
	x.SetRules(signedRules())
	m := newModel(x.Desk)
	m.apply(t, x.propose(a, now))
	o := x.Decide(good, now)
	m.apply(t, o.Changes)
	if o.Result.Result != wire.Accepted {
		t.Fatalf("refused: %+v", o.Result.Reason)
	}
	withdrawn := newTable(t)
	withdrawn.Desk = x.Clone()
	taken := withdrawn.Decide(sign(t, key('a'), jose.EdDSA, withdrawn.payload(a, wire.Withdraw, "")), now)
	if taken.Result.Result != wire.Accepted {
		t.Fatalf("not withdrawn: %+v", taken.Result.Reason)
	}
	later := now.Add(time.Minute)
	for where, d := range map[string]*Desk{"going on": x.Clone(), "restarted": m.restore(t, signedRules())} {
		o := d.Decide(good, later)
		if o.Result.Result != wire.Accepted || !o.Repeated || !o.Result.Time.Equal(now) {
			t.Errorf("%s, the same while it stands: %+v, want accepted at %s", where, o.Result, now)
		}
		if len(o.Changes.Moves)+len(o.Changes.Decisions) > 0 {
			t.Errorf("%s: it changed %+v", where, o.Changes)
		}
		if o := d.Decide(other, later); len(o.Changes.Moves) > 0 || o.Result.Result == wire.Accepted && !o.Repeated {
			t.Errorf("%s, written another way: %+v, moved %+v", where, o.Result, o.Changes.Moves)
		}
	}
	m.apply(t, taken.Changes)
	for where, d := range map[string]*Desk{"going on": withdrawn.Desk, "restarted": m.restore(t, signedRules())} {
		for name, payload := range map[string][]byte{"the same": good, "the same, written another way": other} {
			o := d.Decide(payload, later)
			if o.Result.Reason == nil || o.Result.Reason.Code != string(wire.Replayed) && name == "the same" {
				t.Errorf("%s, %s after a withdrawal: %+v, want %s", where, name, o.Result, wire.Replayed)
			}
			if len(o.Changes.Moves) > 0 || d.InForce(later) != nil {
				t.Errorf("%s, %s after a withdrawal: it moved %+v", where, name, o.Changes.Moves)
			}
		}
	}
}

// What is answered again is only what still stands: with it the standing approval
// that it gave. A plain decision is told so too, for it is lost in the same way.
func TestRepeatedWhileItStands(t *testing.T) {
	a, b := plan(1, morning), plan(2, morning.Add(24*time.Hour))
	now := morning.Add(-11 * time.Hour)
	x := newTable(t)
	x.propose(a, now)
	cover := x.payload(a, wire.Approve, limits(5))
	if o := x.Decide(cover, now); o.Result.Result != wire.Accepted || o.Repeated {
		t.Fatalf("refused: %+v", o.Result.Reason)
	}
	if o := x.Decide(cover, now.Add(time.Minute)); o.Result.Result != wire.Accepted || !o.Repeated || len(o.Changes.Moves) > 0 {
		t.Fatalf("the same again: %+v", o)
	}
	later := morning.Add(time.Hour)
	x.propose(b, later)
	if o := x.Decide(x.payload(b, wire.Withdraw, ""), later); o.Result.Result != wire.Accepted || x.Cover() != nil {
		t.Fatalf("the standing approval was not withdrawn: %+v", o.Result.Reason)
	}
	if o := x.Decide(cover, later); o.Result.Result != wire.Refused || x.Cover() != nil {
		t.Errorf("an approval whose standing approval has ended: %+v, want it refused", o.Result)
	}
}

// FuzzDecide: whatever comes on the decision topic is answered, and puts nothing
// on setpoint that is not an approval of exactly what stands.
func FuzzDecide(f *testing.F) {
	a := plan(1, morning)
	plain := newTable(f).payload(a, wire.Approve, limits(5))
	f.Add(plain, false)
	f.Add(sign(f, key('a'), jose.EdDSA, plain), true)
	f.Add([]byte("a.b.c"), true)
	f.Add([]byte(`{"advice":"","digest":null}`), false)
	now := morning.Add(-11 * time.Hour)
	f.Fuzz(func(t *testing.T, payload []byte, signed bool) {
		x := newTable(t)
		if signed {
			x.SetRules(signedRules())
		}
		x.propose(a, morning.Add(-12*time.Hour))
		o := x.Decide(payload, now)
		if _, err := o.Result.Marshal(); err != nil {
			t.Fatal(err)
		}
		if (o.Result.Result == wire.Accepted) != (o.Result.Reason == nil) {
			t.Fatalf("result %+v with reason %+v", o.Result, o.Result.Reason)
		}
		if x.InForce(now) == nil {
			return
		}
		if o.Result.Result != wire.Accepted || o.Decision.Decision != wire.Approve || o.Decision.Digest != digestOf(t, a) || o.Decision.By == "" {
			t.Fatalf("in force after %s", fmt.Sprintf("%+v", o.Decision))
		}
	})
}
