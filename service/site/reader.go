package site

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v4"
)

// reader walks the nodes of one file along the table of keys. What it meets
// that the table does not allow, it says; what is sound becomes values.
type reader struct {
	file  string
	said  Diagnostics
	spent int // nodes visited
	spend int // nodes that may be visited
}

// budget bounds the nodes visited, aliases followed: an honest file repeats
// itself a few times through aliases, a bomb a million times.
func budget(size int) int { return 10_000 + 4*size }

// say records a mistake about a value.
func (r *reader) say(v *value, summary, expected, hint string) {
	v.broken = true
	r.report(v.at, Diagnostic{Path: v.path(), Summary: summary, Expected: expected, Hint: hint})
}

// warn records a warning about a value.
func (r *reader) warn(v *value, summary, expected, hint string) {
	r.report(v.at, Diagnostic{Path: v.path(), Summary: summary, Expected: expected, Hint: hint, Severity: Warning})
}

func (r *reader) report(at *yaml.Node, d Diagnostic) {
	d.File = r.file
	if at != nil {
		d.Line, d.Column = at.Line, at.Column
	}
	r.said = append(r.said, d)
}

// pay counts a visited node and reports whether the budget still holds.
func (r *reader) pay(v *value) bool {
	r.spent++
	if r.spent == r.spend+1 {
		r.say(v, fmt.Sprintf("aliases make this file more than %d entries long", r.spend),
			"a file whose aliases repeat a part a few times", "write the parts out, or in several files")
	}
	return r.spent <= r.spend
}

// read makes the value of a key from its node.
func (r *reader) read(v *value, node *yaml.Node) {
	v.node = node
	if v.at == nil {
		v.at = node
	}
	if !r.pay(v) {
		v.broken = true
		return
	}
	for node.Kind == yaml.AliasNode {
		node = node.Alias
	}
	switch v.key.Kind {
	case Section:
		r.section(v, node)
	case Named:
		r.named(v, node)
	case List:
		r.list(v, node)
	default:
		v.at = v.node
		r.leaf(v, node)
	}
}

// entry is a pair of a mapping.
type entry struct{ name, value *yaml.Node }

// entries returns the pairs of a mapping in the order of the file, with those
// that its merge keys (<<) bring at the end. A doubled name is a mistake; a
// name of its own goes before a merged one.
func (r *reader) entries(v *value, node *yaml.Node) []entry {
	if node.Kind != yaml.MappingNode {
		if node.Kind == yaml.ScalarNode && node.Tag == "!!null" {
			return nil
		}
		r.say(v, describe(node)+" stands here", v.key.expected(), "")
		return nil
	}
	pairs := make([]entry, 0, len(node.Content)/2)
	seen := make(map[string]*yaml.Node, len(node.Content)/2)
	var merges []*yaml.Node
	for i := 0; i+1 < len(node.Content); i += 2 {
		name := node.Content[i]
		for name.Kind == yaml.AliasNode {
			name = name.Alias
		}
		switch {
		case name.Tag == "!!merge":
			merges = append(merges, node.Content[i+1])
		case name.Kind != yaml.ScalarNode:
			r.report(name, Diagnostic{Path: v.path(), Summary: describe(name) + " stands where a key should", Expected: "a plain key"})
			v.broken = true
		case seen[name.Value] != nil:
			r.report(node.Content[i], Diagnostic{Path: join(v, name.Value),
				Summary: fmt.Sprintf("the key stands here a second time, first on line %d", seen[name.Value].Line), Hint: "keep one of the two"})
		default:
			seen[name.Value] = name
			pairs = append(pairs, entry{node.Content[i], node.Content[i+1]})
		}
	}
	for _, m := range merges {
		pairs = r.merge(v, pairs, seen, m, 0)
	}
	return pairs
}

// maxMergeDepth bounds merge keys within merged mappings.
const maxMergeDepth = 8

// merge adds the pairs of a merged mapping, or of a list of them, that are not
// there yet.
func (r *reader) merge(v *value, pairs []entry, seen map[string]*yaml.Node, from *yaml.Node, depth int) []entry {
	node := from
	for node.Kind == yaml.AliasNode {
		node = node.Alias
	}
	if depth > maxMergeDepth || !r.pay(v) {
		r.report(from, Diagnostic{Path: v.path(), Summary: "merge keys stand too deep in one another", Expected: fmt.Sprintf("at most %d", maxMergeDepth)})
		v.broken = true
		return pairs
	}
	switch node.Kind {
	case yaml.SequenceNode:
		for _, n := range node.Content {
			pairs = r.merge(v, pairs, seen, n, depth+1)
		}
	case yaml.MappingNode:
		var nested []*yaml.Node
		for i := 0; i+1 < len(node.Content); i += 2 {
			name := node.Content[i]
			switch {
			case name.Tag == "!!merge":
				nested = append(nested, node.Content[i+1])
			case name.Kind == yaml.ScalarNode && seen[name.Value] == nil:
				seen[name.Value] = name
				pairs = append(pairs, entry{name, node.Content[i+1]})
			}
		}
		for _, n := range nested {
			pairs = r.merge(v, pairs, seen, n, depth+1)
		}
	default:
		r.report(from, Diagnostic{Path: v.path(), Summary: describe(node) + " stands after <<", Expected: "an alias of a mapping"})
		v.broken = true
	}
	return pairs
}

// section reads the keys of a section.
func (r *reader) section(v *value, node *yaml.Node) {
	v.fields = make([]*value, len(v.key.Keys))
	wasBroken := v.broken
	meant := map[string]bool{} // keys that a misspelt one stands for
	for _, e := range r.entries(v, node) {
		name := scalarOf(e.name)
		i := v.key.index(name)
		if i < 0 {
			meant[r.unknown(v, e)] = true
			continue
		}
		f := &value{key: &v.key.Keys[i], name: name, parent: v, at: e.name}
		v.fields[i] = f
		r.read(f, e.value)
	}
	if wasBroken || node.Kind != yaml.MappingNode && v.broken {
		return
	}
	for i := range v.key.Keys {
		if k := &v.key.Keys[i]; k.Required && v.fields[i] == nil && !meant[k.Name] {
			r.report(v.at, Diagnostic{Path: join(v, k.Name), Summary: "the key is missing", Expected: k.expected()})
			v.broken = true
		}
	}
}

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

// named reads a mapping of ids to sections.
func (r *reader) named(v *value, node *yaml.Node) {
	pairs := r.entries(v, node)
	v.index = make(map[string]*value, len(pairs))
	for _, e := range pairs {
		name := scalarOf(e.name)
		item := &value{key: v.key, name: name, parent: v, at: e.name}
		if !v.key.FreeNames && !isID(name) {
			r.report(e.name, Diagnostic{Path: v.path(), Summary: quote(name) + " cannot be an id",
				Expected: (&Key{Kind: Identifier}).expected(), Hint: suggestID(name)})
			item.broken = true
		}
		item.node = e.value
		r.element(item, e.value)
		v.items = append(v.items, item)
		v.index[name] = item
	}
	if v.key.Required && !v.broken && len(v.items) == 0 {
		r.say(v, "there are no "+v.key.Name, "at least one", "")
	}
}

// list reads a sequence of sections.
func (r *reader) list(v *value, node *yaml.Node) {
	if node.Kind == yaml.ScalarNode && node.Tag == "!!null" {
		return
	}
	if node.Kind != yaml.SequenceNode {
		r.say(v, describe(node)+" stands here", v.key.expected(), "")
		return
	}
	for i, n := range node.Content {
		item := &value{key: v.key, name: indexName(i), parent: v, at: n, node: n}
		r.element(item, n)
		v.items = append(v.items, item)
	}
}

// element reads an item of a Named or List: a section of the same keys.
func (r *reader) element(item *value, node *yaml.Node) {
	if !r.pay(item) {
		item.broken = true
		return
	}
	for node.Kind == yaml.AliasNode {
		node = node.Alias
	}
	if node.Kind == yaml.SequenceNode || node.Kind == yaml.ScalarNode && node.Tag != "!!null" {
		r.say(item, describe(node)+" stands here", "a mapping of "+strings.Join(item.key.names(), ", "), "")
		return
	}
	r.section(item, node)
}

// join is the path of a key below a value.
func join(v *value, name string) string {
	if p := v.path(); p != "" {
		return p + "." + name
	}
	return name
}

// scalarOf is the text of a key, through an alias.
func scalarOf(n *yaml.Node) string {
	for n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	return n.Value
}
