package site

import (
	"fmt"

	"go.yaml.in/yaml/v4"
)

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
