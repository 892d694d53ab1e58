package site

import (
	"strings"

	"rhizostat/policy/hydraulics"
)

// refuse says what the physics found wrong: each field's fault at that key of
// the file below v, or at v itself where the key is not in the file.
func (b *builder) refuse(v *value, err error) {
	for _, fault := range hydraulics.FieldErrors(err) {
		at, rest := v, fault.Field
		for rest != "" {
			name, below, _ := strings.Cut(rest, ".")
			if at.key.index(name) < 0 || at.field(name).node == nil {
				break
			}
			at, rest = at.field(name), below
		}
		text := fault.Text
		if rest != "" {
			text = rest + ": " + text
		}
		summary, expected, hint := clauses(text)
		b.say(at, summary, expected, hint)
	}
}

// clauses takes a sentence of the house apart: what is wrong; expected what;
// what to do.
func clauses(text string) (summary, expected, hint string) {
	summary, rest, found := strings.Cut(text, "; expected ")
	if !found {
		return text, "", ""
	}
	expected, hint, _ = strings.Cut(rest, "; ")
	return summary, expected, hint
}
