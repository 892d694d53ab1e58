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
