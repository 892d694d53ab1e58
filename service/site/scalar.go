package site

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// leaf reads a value that holds no keys.
func (r *reader) leaf(v *value, node *yaml.Node) {
	switch v.key.Kind {
	case Texts, Numbers, Points:
		r.sequence(v, node)
		return
	}
	if node.Kind != yaml.ScalarNode {
		r.say(v, describe(node)+" stands here", v.key.expected(), "")
		return
	}
	if node.Tag == "!!null" {
		r.say(v, "the key has no value", v.key.expected(), v.key.fallback())
		return
	}
	v.text = node.Value
	switch v.key.Kind {
	case Number, Count:
		v.number = r.numberIn(v, node)
	case Text:
		if strings.TrimSpace(node.Value) == "" {
			r.say(v, "the text is empty", v.key.expected(), v.key.fallback())
		}
	case Identifier:
		if !isID(node.Value) {
			r.say(v, quote(node.Value)+" cannot be an id", v.key.expected(), suggestID(node.Value))
		}
	case Choice:
		r.choice(v, node.Value, v.key.Options)
	case Flag:
		v.flag = node.Value == "true"
		if node.Tag != "!!bool" {
			r.say(v, quote(node.Value)+" is neither true nor false", v.key.expected(), v.key.fallback())
		}
	case Duration:
		r.duration(v, node)
	case DayTime:
		r.dayTime(v, node)
	case Date:
		// The day alone; its local midnight needs the site's time zone.
		if _, err := time.Parse(time.DateOnly, node.Value); err != nil {
			r.say(v, quote(node.Value)+" is not a date", v.key.expected(), "")
		}
	}
}

var (
	withUnit     = regexp.MustCompile(`^([-+]?[0-9]+(?:[.][0-9]+)?)\s*([A-Za-z%°µ][^\s]*)$`)
	decimalComma = regexp.MustCompile(`^[-+]?[0-9]+,[0-9]+$`)
	plainNumber  = regexp.MustCompile(`^[-+]?([0-9]+([.][0-9]*)?|[.][0-9]+)([eE][-+]?[0-9]+)?$`)
)

// numberIn reads a finite decimal number and holds it against the key's range.
func (r *reader) numberIn(v *value, node *yaml.Node) float64 {
	k := v.key
	if node.Tag == "!!str" && node.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0 && plainNumber.MatchString(node.Value) {
		r.say(v, quote(node.Value)+" is text", k.expected(), "write it without quotes")
		return 0
	}
	if !plainNumber.MatchString(node.Value) {
		r.say(v, quote(node.Value)+" is not a plain number", k.expected(), r.numberHint(k, node.Value))
		return 0
	}
	n, err := strconv.ParseFloat(node.Value, 64)
	if err != nil || math.IsInf(n, 0) {
		r.say(v, node.Value+" is beyond any number", k.expected(), k.fallback())
		return 0
	}
	if k.Kind == Count && n != math.Trunc(n) {
		r.say(v, node.Value+" is not whole", k.expected(), k.fallback())
		return 0
	}
	r.inRange(v, n)
	return n
}

func (r *reader) inRange(v *value, n float64) {
	k := v.key
	if k.Low == 0 && k.High == 0 {
		return
	}
	hint := k.fallback()
	if n > 1 && n <= 100 && k.High <= 1 && n/100 >= k.Low && n/100 <= k.High {
		hint = "a share is written from 0 to 1: " + round(n/100, 4)
	}
	switch {
	case n < k.Low:
		r.say(v, format(n)+" is below "+format(k.Low), k.expected(), hint)
	case n > k.High:
		r.say(v, format(n)+" is above "+format(k.High), k.expected(), hint)
	}
}

// numberHint guesses why a text that should be a number is none.
func (r *reader) numberHint(k *Key, s string) string {
	if m := withUnit.FindStringSubmatch(s); m != nil {
		if k.Unit == "" {
			return "write the number alone"
		}
		return "the unit is always " + k.Unit + ": write the number alone"
	}
	if decimalComma.MatchString(s) {
		return "the decimal sign is a point: " + strings.Replace(s, ",", ".", 1)
	}
	return k.fallback()
}

func (r *reader) choice(v *value, s string, options []string) {
	if slices.Contains(options, s) {
		return
	}
	hint := v.key.fallback()
	if near := nearest(s, options); near != "" {
		hint = "did you mean " + near + "?"
	}
	r.say(v, quote(s)+" is not known", "one of "+strings.Join(options, ", "), hint)
}

func (r *reader) duration(v *value, node *yaml.Node) {
	d, err := time.ParseDuration(node.Value)
	if err != nil {
		hint := v.key.fallback()
		if plainNumber.MatchString(node.Value) {
			hint = "add the unit: s, m or h"
		}
		r.say(v, quote(node.Value)+" is not a duration", v.key.expected(), hint)
		return
	}
	v.length = d
	if s := d.Seconds(); s < v.key.Low || s > v.key.High {
		r.say(v, node.Value+" is out of range", v.key.expected(), v.key.fallback())
	}
}

// dayTime reads a local time of day into length, or leaves a mark in text.
func (r *reader) dayTime(v *value, node *yaml.Node) {
	if slices.Contains(v.key.Options, node.Value) {
		return
	}
	t, err := time.Parse("15:04", node.Value)
	if err != nil {
		hint := v.key.fallback()
		if near := nearest(node.Value, v.key.Options); near != "" {
			hint = "did you mean " + near + "?"
		} else if node.Tag == "!!int" {
			hint = "put the time in quotes, as hours and minutes"
		}
		r.say(v, quote(node.Value)+" is not a time of day", v.key.expected(), hint)
		return
	}
	v.text = ""
	v.length = time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute
}

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

// isID reports whether a text is an id of the wire: [a-z0-9][a-z0-9._-]{0,63}.
func isID(s string) bool {
	if s == "" || len(s) > 64 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		letter := c >= 'a' && c <= 'z' || c >= '0' && c <= '9'
		if !letter && (i == 0 || c != '.' && c != '_' && c != '-') {
			return false
		}
	}
	return true
}

// suggestID offers the id that a text comes closest to, where there is one.
func suggestID(s string) string {
	id := strings.Map(func(c rune) rune {
		switch {
		case c >= 'A' && c <= 'Z':
			return c + 'a' - 'A'
		case c < utf8.RuneSelf && (isID(string(c)) || strings.ContainsRune("._-", c)):
			return c
		case c == ' ' || c == '/':
			return '-'
		}
		return -1
	}, s)
	id = strings.TrimLeft(id, "._-")
	if !isID(id) || id == s {
		return ""
	}
	return "write " + id
}

// describe says what kind of thing a node is.
func describe(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a mapping"
	case yaml.SequenceNode:
		return fmt.Sprintf("a list of %d", len(n.Content))
	case yaml.AliasNode:
		return "an alias"
	}
	if n.Tag == "!!null" {
		return "nothing"
	}
	return quote(n.Value)
}

// quote shows a text of the file, cut where it is long.
func quote(s string) string {
	const longest = 48
	if utf8.RuneCountInString(s) > longest {
		s = string([]rune(s)[:longest]) + "..."
	}
	return strconv.Quote(s)
}

func digits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// formatSeconds writes a duration as people do: 12h, not 12h0m0s.
func formatSeconds(s float64) string {
	text := time.Duration(s * float64(time.Second)).String()
	text = strings.Replace(text, "m0s", "m", 1)
	return strings.Replace(text, "h0m", "h", 1)
}
