package site

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"slices"
	"strings"
)

// decider reads one entry of deciders.
func (b *builder) decider(v *value) {
	d := Decider{Name: v.name, May: v.field("may").texts}
	if key := v.field("public_key"); key.given() {
		d.PublicKey = b.publicKey(key)
	}
	d.Zones = b.named(v.field("zones"), "the person decides on no zone")
	if may := v.field("may"); may.given() {
		d.May = slices.Compact(slices.Sorted(slices.Values(may.texts)))
		if len(d.May) == 0 {
			b.say(may, "the person may do nothing", may.key.expected(), may.key.fallback())
		}
	}
	b.site.Deciders = append(b.site.Deciders, d)
}

// publicKey reads an Ed25519 public key as RFC 8037 writes it.
func (b *builder) publicKey(v *value) ed25519.PublicKey {
	const shape = "32 bytes in base64url without padding, 43 characters"
	raw, err := base64.RawURLEncoding.Strict().DecodeString(v.text)
	switch {
	case err != nil && strings.ContainsAny(v.text, "+/="):
		b.say(v, "the key is written in another base64", shape, "write - for +, _ for /, and no =")
	case err != nil:
		b.say(v, fmt.Sprintf("the key of %d characters is not base64url", len(v.text)), shape, "")
	case len(raw) == ed25519.PrivateKeySize:
		// Someone is about to publish the key that must stay theirs.
		b.say(v, "the key has 64 bytes, as a private key has", shape, "give the public key; if this one was private, make a new pair")
	case len(raw) != ed25519.PublicKeySize:
		b.say(v, fmt.Sprintf("the key has %d bytes", len(raw)), shape, "")
	case !slices.ContainsFunc(raw, func(c byte) bool { return c != raw[0] }):
		b.say(v, "the key is one byte over and over, which is no key", shape, "")
	default:
		return ed25519.PublicKey(raw)
	}
	return nil
}

// named reads the zones that a key names; nil stands for all. none is what is wrong
// where it names none.
func (b *builder) named(v *value, none string) []string {
	if slices.Contains(v.texts, "*") {
		return nil
	}
	if v.given() && len(v.texts) == 0 {
		b.say(v, none, "ids of zones, or \"*\" for all", v.key.fallback())
	}
	names := b.zoneNames()
	for i, zone := range v.texts {
		if slices.Contains(names, zone) {
			continue
		}
		hint := ""
		if near := nearest(zone, names); near != "" {
			hint = "did you mean " + near + "?"
		}
		b.say(v, fmt.Sprintf("entry %d, %s, is not a zone", i+1, quote(zone)), "one of "+list(names)+", or \"*\"", hint)
	}
	return slices.Compact(slices.Sorted(slices.Values(v.texts)))
}

// doubledKeys refuses two people with one key: a decision could not be told to
// be the one's or the other's.
func (b *builder) doubledKeys() {
	first := map[string]*value{}
	for _, v := range b.root.field("deciders").items {
		key := v.field("public_key")
		if !key.given() {
			continue
		}
		if f := first[key.text]; f != nil {
			b.say(key, fmt.Sprintf("the key is also that of %s", f.parent.name), "a key of one's own for each", "")
			continue
		}
		first[key.text] = key
	}
}
