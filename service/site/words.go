package site

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

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
