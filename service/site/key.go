package site

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kind is the kind of value that a key takes.
type Kind uint8

// The kinds. Section, Named and List hold further keys; the others are values.
const (
	Section    Kind = iota // a mapping of the keys in Keys
	Named                  // a mapping of ids, each to a section of the keys in Keys
	List                   // a sequence of sections of the keys in Keys
	Number                 // a finite number in Unit
	Count                  // a whole number
	Text                   // any text
	Identifier             // [a-z0-9][a-z0-9._-]{0,63}
	Choice                 // one of Options
	Flag                   // true or false
	Duration               // as Go writes it: 12h, 10m
	DayTime                // "06:00", or one of Options (sunrise, sunset)
	Date                   // 2026-03-01
	Texts                  // a sequence of texts, of Options where there are some
	Numbers                // a sequence of numbers
	Points                 // a sequence of pairs of numbers
)

// Key is one row of the table of keys.
type Key struct {
	Name      string
	Kind      Kind
	Unit      string  // of a Number; "" for a pure number
	Low, High float64 // of a Number or Count, s of a Duration; both included, both 0: no limit
	Options   []string
	Required  bool
	Default   string // as it would be written in the file; "" when there is none
	Derived   string // in words, a default that is worked out or the meaning of leaving the key out
	Source    string // where Default or Derived comes from
	Doc       string // one sentence
	Keys      []Key  // of a Section, Named or List
	FreeNames bool   // of a Named: its names are not ids
	Like      string // the path whose keys these are too; Document prints them once
}

// names lists the names of the keys within.
func (k *Key) names() []string {
	n := make([]string, len(k.Keys))
	for i := range k.Keys {
		n[i] = k.Keys[i].Name
	}
	return n
}

// index finds a key within by name, or returns -1.
func (k *Key) index(name string) int {
	for i := range k.Keys {
		if k.Keys[i].Name == name {
			return i
		}
	}
	return -1
}

// expected says in words what the key takes.
func (k *Key) expected() string {
	switch k.Kind {
	case Section:
		return "a mapping of " + strings.Join(k.names(), ", ")
	case Named:
		return "a mapping of ids, each with its own keys"
	case List:
		return "a list of mappings with " + strings.Join(k.names(), ", ")
	case Number:
		return k.quantity() + k.span()
	case Count:
		return "a whole number" + k.span()
	case Text:
		return "text, " + k.about()
	case Identifier:
		return "an id of a-z, 0-9, '.', '_' and '-', at most 64 long, that starts with a letter or digit"
	case Choice:
		return "one of " + strings.Join(k.Options, ", ")
	case Flag:
		return "true or false"
	case Duration:
		return "a duration such as 90m or 12h" + k.durationSpan()
	case DayTime:
		return "a local time in quotes such as \"06:00\", or " + strings.Join(k.Options, " or ")
	case Date:
		return "a date such as 2026-03-01"
	case Texts:
		if k.Options != nil {
			return "a list of " + strings.Join(k.Options, ", ")
		}
		return "a list of texts"
	case Numbers:
		return "a list of numbers"
	case Points:
		return "a list of pairs of numbers"
	}
	panic(fmt.Sprintf("site: key %s has the unknown kind %d", k.Name, k.Kind))
}

// about is the key's sentence as a part of another.
func (k *Key) about() string {
	if k.Doc == "" {
		return k.Name
	}
	return strings.TrimSuffix(strings.ToLower(k.Doc[:1])+k.Doc[1:], ".")
}

func (k *Key) quantity() string {
	if k.Unit == "" {
		return "a number"
	}
	return k.Unit
}

func (k *Key) span() string {
	if k.Low == 0 && k.High == 0 {
		return ""
	}
	return " from " + format(k.Low) + " to " + format(k.High)
}

func (k *Key) durationSpan() string {
	if k.Low == 0 && k.High == 0 {
		return ""
	}
	return " from " + formatSeconds(k.Low) + " to " + formatSeconds(k.High)
}

// fallback says what leaving the key out means, "" when it cannot be left out.
func (k *Key) fallback() string {
	switch {
	case k.Required:
		return ""
	case k.Default != "":
		return "leave it out for the default " + k.Default
	case k.Derived != "":
		return "leave it out for " + k.Derived
	}
	return ""
}

// format prints a number with as few digits as it needs, and in full where
// people would write it so.
func format(v float64) string {
	if a := math.Abs(v); a >= 1e-4 && a < 1e9 {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

// round prints a number with at most the given decimals, without idle zeros.
func round(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
