package desk

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"

	"github.com/go-jose/go-jose/v4"

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
		return r, refuse(wire.Malformed, "the decision has %d bytes; expected at most %d", len(payload), wire.MaxDecision)
	}
	compact := bytes.Count(payload, []byte{'.'}) == 2 && !bytes.ContainsAny(payload, "{ \"")
	if !compact {
		dec, err := wire.ParseDecision(payload)
		r.decision = dec
		if err != nil {
			return r, refuse(wire.Malformed, "%v", err)
		}
		if len(d.rules.Deciders) > 0 {
			return r, refuse(wire.NotSigned, "site %s lists deciders, and this decision is not signed; sign it with the decider's key as a compact JWS (EdDSA)", d.site)
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
		return r, refuse(wire.UnknownDecider, "the decision is signed, and site %s lists no deciders to check it against; send it as plain JSON, or list the decider's public key", d.site)
	}
	// Base64 decoders skip line breaks: a compact JWS has none (RFC 7515, 7.1).
	if strings.ContainsFunc(compact, notCompact) {
		return r, refuse(wire.NotSigned, "the decision is no compact JWS: it has other characters than base64url and dots; sign it with the decider's key")
	}
	jws, err := jose.ParseSignedCompact(compact, []jose.SignatureAlgorithm{jose.EdDSA})
	if err != nil {
		return r, refuse(wire.NotSigned, "the decision is no compact JWS with EdDSA (%v); sign it with the decider's key", err)
	}
	if _, crit := jws.Signatures[0].Protected.ExtraHeaders["crit"]; crit {
		return r, refuse(wire.NotSigned, "the signature's header lists critical extensions; expected none")
	}
	dec, err := wire.ParseDecision(jws.UnsafePayloadWithoutVerification())
	if err != nil {
		return r, refuse(wire.Malformed, "signed: %v", err)
	}
	i := slices.IndexFunc(d.rules.Deciders, func(x Decider) bool { return x.Name == dec.By })
	if i < 0 {
		return r, refuse(wire.UnknownDecider, "%q is not a decider of site %s; expected one of the names under deciders", dec.By, d.site)
	}
	who := &d.rules.Deciders[i]
	if _, err := jws.Verify(who.Key); err != nil {
		return r, refuse(wire.NotSigned, "the signature is not that of %s over this decision; sign it with the key whose public half the site file has", who.Name)
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

// allowed tells whether a decider may decide so on this zone.
func (d *Desk) allowed(who *Decider, dec *wire.Decision) *refusal {
	if !slices.Contains(who.Zones, "*") && !slices.Contains(who.Zones, d.zone) {
		return refuse(wire.NotAllowed, "%s decides for zones %s, not for %s", who.Name, strings.Join(who.Zones, ", "), d.zone)
	}
	if !slices.Contains(who.May, dec.Decision) {
		may := make([]string, len(who.May))
		for i, v := range who.May {
			may[i] = string(v)
		}
		return refuse(wire.NotAllowed, "%s may %s, not %s", who.Name, strings.Join(may, ", "), dec.Decision)
	}
	return nil
}
