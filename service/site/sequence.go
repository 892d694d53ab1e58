package site

import "go.yaml.in/yaml/v4"

// sequence reads Texts, Numbers and Points.
func (r *reader) sequence(v *value, node *yaml.Node) {
	if node.Kind != yaml.SequenceNode {
		r.say(v, describe(node)+" stands here", v.key.expected(), "")
		return
	}
	for i, n := range node.Content {
		item := &value{key: &Key{Name: v.key.Name, Kind: Number, Unit: v.key.Unit}, name: indexName(i), parent: v, node: n, at: n}
		if !r.pay(item) {
			v.broken = true
			return
		}
		for n.Kind == yaml.AliasNode {
			n = n.Alias
		}
		switch v.key.Kind {
		case Texts:
			item.key = &Key{Name: v.key.Name, Kind: Text, Options: v.key.Options}
			if v.key.Options != nil {
				item.key.Kind = Choice
			}
			r.leaf(item, n)
			v.texts = append(v.texts, item.text)
		case Numbers:
			r.leaf(item, n)
			v.numbers = append(v.numbers, item.number)
		case Points:
			v.pairs = append(v.pairs, r.pair(item, n))
		}
		v.broken = v.broken || item.broken
	}
}

// pair reads two numbers.
func (r *reader) pair(v *value, node *yaml.Node) [2]float64 {
	if node.Kind != yaml.SequenceNode || len(node.Content) != 2 {
		r.say(v, describe(node)+" stands here", "a pair of "+v.key.Unit, "")
		return [2]float64{}
	}
	var p [2]float64
	for i, n := range node.Content {
		item := &value{key: v.key, name: indexName(i), parent: v, node: n, at: n}
		for n.Kind == yaml.AliasNode {
			n = n.Alias
		}
		r.leaf(item, n)
		p[i] = item.number
		v.broken = v.broken || item.broken
	}
	return p
}
