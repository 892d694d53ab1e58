package desk

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"

	"github.com/go-jose/go-jose/v4"

	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

// Decider is a person whose signed decisions count.
type Decider struct {
	Name  string
	Key   ed25519.PublicKey
	Zones []string // ids, or "*" for all
	May   []wire.Verdict
}

// reading is a decision that was read, and how it came.
type reading struct {
	decision wire.Decision
	signed   bool
	hash     string // SHA-256 of the payload, hex
}

// read reads a decision and checks that its sender may decide. What could be
// read comes back even when it is refused.
func (d *Desk) read(payload []byte) (reading, *refusal) {
	payload = bytes.TrimSpace(payload)
	sum := sha256.Sum256(payload)
	r := reading{hash: hex.EncodeToString(sum[:])}
	if len(payload) > wire.MaxDecision {
		return r, refuse("malformed-long", advice.Count(len(payload)), advice.Count(wire.MaxDecision))
	}
	compact := bytes.Count(payload, []byte{'.'}) == 2 && !bytes.ContainsAny(payload, "{ \"")
	if !compact {
		dec, err := wire.ParseDecision(payload)
		r.decision = dec
		if err != nil {
			return r, refuse("malformed-unreadable", told(err))
		}
		if len(d.rules.Deciders) > 0 {
			return r, refuse("not-signed-plain", advice.Name(d.site))
		}
		return r, nil
	}
	return d.readSigned(r, string(payload))
}

// readSigned checks a compact JWS (RFC 7515) with EdDSA (RFC 8037). The key is
// the one that the site file has for the name in `by`; the header chooses
// nothing, so that no header can choose wrongly (RFC 8725, 3.1 and 3.10).
func (d *Desk) readSigned(r reading, compact string) (reading, *refusal) {
	if len(d.rules.Deciders) == 0 {
		return r, refuse("unknown-decider-none", advice.Name(d.site))
	}
	// Base64 decoders skip line breaks: a compact JWS has none (RFC 7515, 7.1).
	if strings.ContainsFunc(compact, notCompact) {
		return r, refuse("not-signed-form")
	}
	jws, err := jose.ParseSignedCompact(compact, []jose.SignatureAlgorithm{jose.EdDSA})
	if err != nil {
		return r, refuse("not-signed-jws", advice.Name(err.Error()))
	}
	if _, crit := jws.Signatures[0].Protected.ExtraHeaders["crit"]; crit {
		return r, refuse("not-signed-critical")
	}
	dec, err := wire.ParseDecision(jws.UnsafePayloadWithoutVerification())
	if err != nil {
		return r, refuse("malformed-signed", told(err))
	}
	i := slices.IndexFunc(d.rules.Deciders, func(x Decider) bool { return x.Name == dec.By })
	if i < 0 {
		return r, refuse("unknown-decider-name", advice.Name(d.site), advice.Name(dec.By), advice.Name(string(dec.Decision)), advice.Name(d.zone), d.mayDecide(dec.Decision))
	}
	who := &d.rules.Deciders[i]
	if _, err := jws.Verify(who.Key); err != nil {
		return r, refuse("not-signed-by-other", advice.Name(who.Name), advice.Name(d.site))
	}
	// The payload is what was signed: hashing the compact form would let the
	// unused bits of its base64 make a new decision out of an old one.
	sum := sha256.Sum256(jws.UnsafePayloadWithoutVerification())
	r.decision, r.signed, r.hash = dec, true, hex.EncodeToString(sum[:])
	return r, d.allowed(who, &dec)
}

func notCompact(c rune) bool {
	return !(c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-' || c == '_' || c == '.')
}

// told is what is wrong with a decision that cannot be read, as the middle of a
// sentence.
func told(err error) advice.Value {
	return advice.Name(strings.TrimPrefix(err.Error(), "decision: "))
}

// allowed tells whether a decider may decide so on this zone.
func (d *Desk) allowed(who *Decider, dec *wire.Decision) *refusal {
	if !d.decidesFor(who) {
		return refuse("not-allowed-zone", advice.Name(who.Name), advice.Name(zonesOf(who)), advice.Name(d.zone), advice.Name(string(dec.Decision)), d.mayDecide(dec.Decision))
	}
	if !slices.Contains(who.May, dec.Decision) {
		may := make([]string, len(who.May))
		for i, v := range who.May {
			may[i] = string(v)
		}
		return refuse("not-allowed-decision", advice.Name(who.Name), advice.Name(either(may, "decide nothing")), advice.Name(string(dec.Decision)), advice.Name(d.zone), d.mayDecide(dec.Decision))
	}
	return nil
}

func (d *Desk) decidesFor(who *Decider) bool {
	return slices.Contains(who.Zones, "*") || slices.Contains(who.Zones, d.zone)
}

// mayDecide are the names of those who may decide so on this zone.
func (d *Desk) mayDecide(v wire.Verdict) advice.Value {
	var names []string
	for i := range d.rules.Deciders {
		if who := &d.rules.Deciders[i]; d.decidesFor(who) && slices.Contains(who.May, v) {
			names = append(names, who.Name)
		}
	}
	return advice.Name(either(names, "nobody"))
}

func zonesOf(who *Decider) string { return either(who.Zones, "no zone") }

// either lists words, or says that there are none.
func either(words []string, none string) string {
	if len(words) == 0 {
		return none
	}
	return strings.Join(words, ", ")
}
