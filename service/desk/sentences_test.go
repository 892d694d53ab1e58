package desk

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"

	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

// Every code of a refusal has its sentences in the catalogue, and the catalogue has
// none of another code.
func TestRefusalsAreOfTheCatalogue(t *testing.T) {
	counted := 0
	for _, code := range wire.Refusals() {
		codes := advice.RefusalCodes(string(code))
		if len(codes) == 0 {
			t.Errorf("%s has no sentence", code)
		}
		counted += len(codes)
	}
	for _, e := range advice.Catalogue() {
		if e.Kind == advice.KindRefusal {
			counted--
		}
	}
	if counted != 0 {
		t.Errorf("the catalogue has %d refusals of codes that the wire does not have", -counted)
	}
}

// situation brings a desk to a refusal.
type situation struct {
	sentence string // its code in the catalogue
	signed   bool   // the site lists deciders
	before   func(x *table)
	payload  func(x *table) []byte
	at       time.Time // zero: 20:00 of the evening before the day of advice 1
	says     string    // DIGEST1 and DIGEST2 stand for those of advice 1 and 2
}

// Each sentence of the catalogue with which a decision can be refused is said, in
// the situation that it is for, with its numbers in local time.
func TestEveryRefusal(t *testing.T) {
	evening := morning.Add(-10 * time.Hour) // 3 May 20:00 local
	one, two := plan(1, morning), plan(2, morning)
	digest := func(n int) string { return digestOf(t, plan(n, morning)) }
	send := func(a *advice.Advice, v wire.Verdict) func(*table) []byte {
		return func(x *table) []byte { return x.payload(a, v, "") }
	}
	decided := func(v ...wire.Verdict) func(*table) {
		return func(x *table) {
			for i, v := range v {
				x.decide(one, v, "", evening.Add(time.Duration(i-60)*time.Minute), "")
			}
		}
	}
	covering := func(until time.Time) func(*table) []byte {
		return func(x *table) []byte {
			return x.payload(one, wire.Approve, fmt.Sprintf(`{"until":%q,"max_volume_ml":1800,"max_shot_ml":200,"earliest_shot":"06:30","latest_shot":"16:30"}`, clock(until)))
		}
	}
	by := func(name string, v wire.Verdict) func(*table) []byte {
		return func(x *table) []byte {
			return sign(t, key(name[0]), jose.EdDSA, fmt.Appendf(nil, `{"advice":%q,"digest":%q,"decision":%q,"by":%q}`, one.ID, digest(1), v, name))
		}
	}
	plainly := func(format string, args ...any) func(*table) []byte {
		return func(*table) []byte { return fmt.Appendf(nil, format, args...) }
	}
	said := map[string]bool{"not-allowed-set-aside": true} // by the worker, whose test has a zone set aside
	for _, c := range []situation{
		{sentence: "malformed-unreadable", payload: plainly(`{"advice":%q,"digest":%q,"decision":"yes","by":"ana"}`, one.ID, digest(1)),
			says: `The decision cannot be read: decision "yes" is unknown; expected approve, reject or withdraw.`},
		{sentence: "malformed-signed", signed: true, payload: func(*table) []byte { return sign(t, key('a'), jose.EdDSA, []byte("nonsense")) },
			says: `The signature is read, the decision under it cannot be: the payload is not a JSON object ("nonsense"); expected {...}.`},
		{sentence: "malformed-long", payload: plainly("%s", strings.Repeat("x", 17000)),
			says: "The decision has 17000 bytes, and at most 16384 are read: shorten its note."},
		{sentence: "unknown-advice-other", payload: send(two, wire.Approve),
			says: "Advice ADVICE0002 is not known for zone bench-07; the one that stands there is ADVICE0001, valid until 5 May 06:00."},
		{sentence: "unknown-advice-none", before: func(x *table) { x.Desk = New("north", "bench-07", openRules()) }, payload: send(two, wire.Approve),
			says: "Advice ADVICE0002 is not known for zone bench-07, and no advice stands there now."},
		{sentence: "wrong-digest-advice", payload: plainly(`{"advice":%q,"digest":%q,"decision":"approve","by":"ana"}`, one.ID, digest(2)),
			says: "The decision names the digest DIGEST2, and advice ADVICE0001 has DIGEST1: look at the advice as it is published now, and decide on that."},
		{sentence: "wrong-digest-standing", before: func(x *table) {
			x.decide(one, wire.Approve, limits(5), evening, "")
			for n := range 4 { // until the desk holds it no longer
				x.propose(plan(3+n, morning.Add(time.Duration(n)*day)), morning.Add(time.Duration(n)*day-11*time.Hour))
			}
		}, payload: plainly(`{"advice":%q,"digest":%q,"decision":"withdraw","by":"ana"}`, one.ID, digest(2)), at: morning.Add(4 * day),
			says: "The decision names the digest DIGEST2, and the standing approval of advice ADVICE0001 was given with DIGEST1: name that one to end it."},
		{sentence: "not-pending-inspect", before: func(x *table) { x.propose(inspect(2, morning), evening.Add(-time.Hour)) },
			payload: plainly(`{"advice":%q,"digest":%q,"decision":"approve","by":"ana"}`, two.ID, digest(2)),
			says:    "Advice ADVICE0002 asks a person to look: there are no setpoints in it to approve."},
		{sentence: "not-pending-approved", before: decided(wire.Approve), payload: send(one, wire.Reject),
			says: "Advice ADVICE0001 was approved already, by ana on 3 May 19:00; it is valid until 5 May 06:00."},
		{sentence: "not-pending-under", before: func(x *table) {
			x.decide(one, wire.Approve, limits(5), evening.Add(-time.Hour), "")
			x.propose(plan(2, morning.Add(day)), evening.Add(day))
		}, payload: send(plan(2, morning.Add(day)), wire.Approve), at: evening.Add(day + time.Hour),
			says: "Advice ADVICE0002 was approved already on 4 May 20:00, under the standing approval that ana gave with advice ADVICE0001; it is valid until 6 May 06:00."},
		{sentence: "not-pending-rejected", before: decided(wire.Reject), payload: send(one, wire.Approve),
			says: "Advice ADVICE0001 was rejected by ana on 3 May 19:00: the next advice can be decided on."},
		{sentence: "not-pending-withdrawn", before: decided(wire.Approve, wire.Withdraw), payload: send(one, wire.Approve),
			says: "Advice ADVICE0001 was withdrawn by ana on 3 May 19:01: the next advice can be decided on."},
		{sentence: "not-pending-superseded", before: func(x *table) { x.propose(two, evening.Add(-time.Hour)) }, payload: send(one, wire.Approve),
			says: "Advice ADVICE0001 was replaced on 3 May 19:00: look at ADVICE0002, which stands now."},
		{sentence: "not-pending-waits", payload: send(one, wire.Withdraw),
			says: "Advice ADVICE0001 waits for a decision until 4 May 06:50, so there is nothing to withdraw: reject it instead."},
		{sentence: "not-pending-nothing-left", before: decided(wire.Reject), payload: send(one, wire.Withdraw),
			says: "Advice ADVICE0001 is not in force, it was rejected on 3 May 19:00: there is nothing left to withdraw."},
		{sentence: "expired-undecided", payload: send(one, wire.Approve), at: morning.Add(2 * time.Hour),
			says: "Advice ADVICE0001 could be decided until 4 May 06:50, and it is 4 May 08:00 now: the next advice can be decided on."},
		{sentence: "expired-over", before: decided(wire.Approve), payload: send(one, wire.Withdraw), at: morning.Add(day),
			says: "Advice ADVICE0001 expired on 5 May 06:00: there is nothing left to withdraw."},
		{sentence: "not-signed-plain", signed: true, payload: send(one, wire.Approve),
			says: "Site north lists who may decide, and this decision is not signed: sign it with the decider's key."},
		{sentence: "not-signed-form", signed: true, payload: plainly("e30.e3+0.e30"),
			says: "The decision is no compact JWS, it has other characters than base64url and dots: sign it with the decider's key."},
		{sentence: "not-signed-jws", signed: true, payload: plainly("e30.e30.e30"),
			says: "The decision is no compact JWS with EdDSA (*): sign it with the decider's key."},
		{sentence: "not-signed-critical", signed: true, payload: func(x *table) []byte {
			return raw(key('a'), `{"alg":"EdDSA","crit":["exp"],"exp":1}`, x.payload(one, wire.Approve, ""))
		}, says: "The signature's header lists critical extensions, and none is expected: sign it without."},
		{sentence: "not-signed-by-other", signed: true, payload: func(x *table) []byte { return sign(t, key('b'), jose.EdDSA, x.payload(one, wire.Approve, "")) },
			says: "The signature is not that of ana over this decision: sign it with the key whose public half the site file of north has."},
		{sentence: "unknown-decider-name", signed: true, payload: by("dan", wire.Approve),
			says: "No decider of site north is called dan; who may approve for zone bench-07: ana."},
		{sentence: "unknown-decider-none", payload: by("ana", wire.Approve),
			says: "The decision is signed, and site north lists nobody's key to check it with: send it unsigned, or list the decider's public key."},
		{sentence: "not-allowed-zone", signed: true, payload: by("ben", wire.Approve),
			says: "Decider ben decides for bench-08, and not for zone bench-07; who may approve there: ana."},
		{sentence: "not-allowed-decision", signed: true, payload: by("cid", wire.Approve),
			says: "Decider cid may reject, and not approve; who may for zone bench-07: ana."},
		{sentence: "not-allowed-covers", before: func(x *table) { x.rules = &Rules{Location: local} }, payload: covering(morning.Add(day)),
			says: "The site file of north allows no standing approval for zone bench-07: approve this advice alone, or set approval.standing.allowed."},
		{sentence: "not-allowed-covers-past", payload: covering(morning.Add(-day)),
			says: "The standing approval would end on 3 May 06:00, and it is 3 May 20:00 already."},
		{sentence: "not-allowed-covers-long", payload: covering(morning.Add(9 * day)),
			says: "The standing approval would last until 13 May 06:00; the site file allows 7 days, until 10 May 20:00."},
		{sentence: "replayed-signed", signed: true, before: func(x *table) {
			for i, verdict := range []wire.Verdict{wire.Approve, wire.Withdraw} {
				if o := x.Decide(by("ana", verdict)(x), evening.Add(time.Duration(i)*time.Minute-time.Hour)); o.Result.Reason != nil {
					t.Fatal(o.Result.Reason)
				}
			}
		}, payload: by("ana", wire.Approve),
			says: "This very decision was taken before, and advice ADVICE0001 is withdrawn since 3 May 19:01: sign a new one if it is to be decided again."},
	} {
		t.Run(c.sentence, func(t *testing.T) {
			x := newTable(t)
			if c.signed {
				x.SetRules(signedRules())
			}
			x.propose(one, morning.Add(-12*time.Hour))
			if c.before != nil {
				c.before(x)
			}
			if c.at.IsZero() {
				c.at = evening
			}
			r := x.Decide(c.payload(x), c.at).Result
			if r.Result != wire.Refused {
				t.Fatalf("it is %+v", r)
			}
			if !slices.Contains(advice.RefusalCodes(r.Reason.Code), c.sentence) {
				t.Errorf("it is refused as %s, which does not have the sentence %s", r.Reason.Code, c.sentence)
			}
			want := strings.NewReplacer("DIGEST1", digest(1), "DIGEST2", digest(2)).Replace(c.says)
			begin, end, _ := strings.Cut(want, "*") // a library's words
			if !strings.HasPrefix(r.Reason.Text, begin) || !strings.HasSuffix(r.Reason.Text, end) {
				t.Errorf("it says\n%s\nwant\n%s", r.Reason.Text, want)
			}
		})
		said[c.sentence] = true
	}
	x := newTable(t)
	x.propose(one, morning.Add(-12*time.Hour))
	r := x.Decide(x.payload(one, wire.Approve, ""), evening).Unrecorded(evening)
	if want := "The decision on advice ADVICE0001 could not be written to the ledger on 3 May 20:00, so nothing has changed: send it again once the ledger can be written."; r.Reason.Text != want {
		t.Errorf("it says\n%s\nwant\n%s", r.Reason.Text, want)
	}
	said["ledger-unavailable-decision"] = true
	for _, e := range advice.Catalogue() {
		if e.Kind == advice.KindRefusal && !said[e.Code] {
			t.Errorf("nothing is refused with the sentence %s", e.Code)
		}
	}
}
