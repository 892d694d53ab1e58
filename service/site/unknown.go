package site

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v4"
)

// unknown says of a key that the table does not have what may have been meant,
// and returns the key that was, "" when there is none like it.
func (r *reader) unknown(v *value, e entry) string {
	name := scalarOf(e.name)
	d := Diagnostic{Path: v.path(), Summary: fmt.Sprintf("%s is not a key here", quote(name))}
	near := nearest(name, v.key.names())
	switch {
	case near != "":
		d.Hint = "did you mean " + near + "?"
	case digits(name) && e.value.Kind == yaml.ScalarNode && e.value.Tag == "!!null":
		d.Hint = "was a comma meant as the decimal sign? write a point"
	default:
		if home := elsewhere(name, v.key); home != "" {
			d.Hint = "it belongs under " + home
		}
	}
	if len(v.key.Keys) == 0 {
		d.Expected = "no keys: {}"
	} else if near == "" {
		d.Expected = "one of " + strings.Join(v.key.names(), ", ")
	}
	r.report(e.name, d)
	v.broken = true
	return near
}

// elsewhere finds the section below or above in which a key would stand.
func elsewhere(name string, in *Key) string {
	for i := range in.Keys {
		if k := &in.Keys[i]; k.Kind == Section && k.index(name) >= 0 {
			return k.Name
		}
	}
	for _, up := range []*Key{&document, document.key("zones")} {
		if up != in && up.index(name) >= 0 {
			if up == &document {
				return "the top of the file"
			}
			return "the zone itself"
		}
	}
	return ""
}

// key returns a key within by name.
func (k *Key) key(name string) *Key { return &k.Keys[k.index(name)] }
