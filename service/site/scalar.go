package site

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

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
