package site

import (
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"go.yaml.in/yaml/v4"
)

// value is what the file says for one key, or the key's default.
type value struct {
	key    *Key
	name   string // the key's name, the id within a Named, [i] within a List
	parent *value
	node   *yaml.Node // nil where the file has nothing
	at     *yaml.Node // where to point: the name of a section, the value of others
	broken bool       // a mistake about it has been reported

	fields []*value // of a Section and of the items of Named and List, in the order of key.Keys
	items  []*value // of a Named or List, in the order of the file
	index  map[string]*value

	number  float64
	text    string
	flag    bool
	length  time.Duration
	numbers []float64
	pairs   [][2]float64
	texts   []string
}

// given reports whether the file has the key and has it right.
func (v *value) given() bool { return v.node != nil && !v.broken }

// field returns the value of a key of a section. Asking for a key that is not
// in the table is a mistake of ours.
func (v *value) field(name string) *value {
	i := v.key.index(name)
	if i < 0 {
		panic(fmt.Sprintf("site: the table has no key %s in %s", name, v.key.Name))
	}
	if v.fields == nil || v.fields[i] == nil {
		return absent(&v.key.Keys[i])
	}
	return v.fields[i]
}

// any reports whether any of the named keys is in the file, right or wrong.
func (v *value) any(names ...string) bool {
	for _, name := range names {
		if v.field(name).node != nil {
			return true
		}
	}
	return false
}

// sound reports whether the value and all within it are without mistake.
func (v *value) sound() bool {
	if v.broken {
		return false
	}
	for _, f := range v.fields {
		if f != nil && !f.sound() {
			return false
		}
	}
	for _, item := range v.items {
		if !item.sound() {
			return false
		}
	}
	return true
}

// item finds an entry of a Named by its name.
func (v *value) item(name string) *value { return v.index[name] }

// itemNames lists the names of a Named in the order of the file.
func (v *value) itemNames() []string {
	names := make([]string, len(v.items))
	for i, item := range v.items {
		names[i] = item.name
	}
	return names
}

// pointer returns the number for an optional quantity, nil where it is not given.
func (v *value) pointer() *float64 {
	if !v.given() {
		return nil
	}
	n := v.number
	return &n
}

// path is the value's place in the file in words: zones.bench-07.band.
func (v *value) path() string {
	var names []string
	for ; v != nil && v.parent != nil; v = v.parent {
		names = append(names, v.name)
	}
	var b strings.Builder
	for i := len(names) - 1; i >= 0; i-- {
		if b.Len() > 0 && !strings.HasPrefix(names[i], "[") {
			b.WriteByte('.')
		}
		b.WriteString(names[i])
	}
	return b.String()
}

// absent is the value of a key that the file leaves out: its default. It is
// shared and must not be changed.
func absent(k *Key) *value { return absentValues()[k] }

// absentValues holds the default of every key of the table.
var absentValues = sync.OnceValue(func() map[*Key]*value {
	all := make(map[*Key]*value)
	addDefaults(all, &document)
	return all
})

func addDefaults(all map[*Key]*value, parent *Key) {
	for i := range parent.Keys {
		k := &parent.Keys[i]
		if _, done := all[k]; done {
			continue // bandKeys and others stand in two places
		}
		all[k] = parseDefault(k)
		addDefaults(all, k)
	}
}

func parseDefault(k *Key) *value {
	v := &value{key: k, name: k.Name}
	if k.Default == "" {
		return v
	}
	var node yaml.Node
	if err := yaml.Load([]byte(k.Default), &node); err != nil {
		panic(fmt.Sprintf("site: default %q of key %s: %v", k.Default, k.Name, err))
	}
	r := reader{spend: budget(len(k.Default))}
	r.leaf(v, node.Content[0])
	if len(r.said) > 0 {
		panic(fmt.Sprintf("site: default of key %s: %s", k.Name, r.said[0]))
	}
	return v
}

func indexName(i int) string { return "[" + strconv.Itoa(i) + "]" }
