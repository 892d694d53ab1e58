package site

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// maxFile bounds a site file; 50,000 zones written out take about 20 MiB.
const maxFile = 64 << 20

// parseYAML returns the root mapping of the file's one document. What keeps a
// file from being YAML at all ends the reading: nothing after it means anything.
func (r *reader) parseYAML(data []byte) *yaml.Node {
	if len(data) > maxFile {
		r.report(nil, Diagnostic{Summary: fmt.Sprintf("the file has %d MiB", len(data)>>20), Expected: fmt.Sprintf("at most %d MiB", maxFile>>20), Hint: "split the site in several"})
		return nil
	}
	if at, what := strange(data); at != nil {
		r.report(at, Diagnostic{Summary: what, Expected: "plain UTF-8 text", Hint: "save the file as UTF-8"})
		return nil
	}
	loader, err := yaml.NewLoader(bytes.NewReader(data), yaml.WithV4Defaults())
	if err != nil {
		panic(fmt.Sprintf("site: options of the YAML reader: %v", err)) // they are constants
	}
	var first, second yaml.Node
	if err := loader.Load(&first); errors.Is(err, io.EOF) {
		r.report(nil, Diagnostic{Summary: "the file is empty", Expected: "a site file: " + document.expected()})
		return nil
	} else if err != nil {
		r.syntax(data, err)
		return nil
	}
	switch err := loader.Load(&second); {
	case err == nil:
		r.report(&second, Diagnostic{Summary: "a second document starts here", Expected: "one site in a file", Hint: "put it in a file of its own"})
		return nil
	case !errors.Is(err, io.EOF):
		r.syntax(data, err)
		return nil
	}
	root := first.Content[0]
	r.tags(root)
	if root.Kind != yaml.MappingNode {
		r.report(root, Diagnostic{Summary: describe(root) + " stands where the site's keys should", Expected: document.expected()})
		return nil
	}
	return root
}

// tags refuses the tags that no key takes: they would be without effect, and
// whoever wrote one meant something by it. Those of YAML's core schema (YAML 1.2.2,
// 10.3) say what is there anyway.
func (r *reader) tags(n *yaml.Node) {
	switch n.Tag {
	case "", "!", "!!str", "!!int", "!!float", "!!bool", "!!null", "!!map", "!!seq", "!!merge", "!!timestamp":
	default:
		r.report(n, Diagnostic{Summary: "the tag " + n.Tag + " stands here", Expected: "a value without a tag", Hint: "leave the tag out"})
	}
	if n.Kind == yaml.AliasNode {
		return // its anchor was looked at
	}
	for _, in := range n.Content {
		r.tags(in)
	}
}

// strange finds the first byte that text does not have, and says what it is.
func strange(data []byte) (*yaml.Node, string) {
	line, start := 1, 0
	for i := 0; i < len(data); {
		c := data[i]
		if c == '\n' {
			line, start = line+1, i+1
		}
		size, what := 1, ""
		switch {
		case c < 0x20 && c != '\n' && c != '\r' && c != '\t' || c == 0x7f:
			what = fmt.Sprintf("the control character 0x%02x stands here", c)
		case c >= utf8.RuneSelf:
			var u rune
			if u, size = utf8.DecodeRune(data[i:]); u == utf8.RuneError && size == 1 {
				what = fmt.Sprintf("the byte 0x%02x is not UTF-8", c)
			}
		}
		if what != "" {
			return &yaml.Node{Line: line, Column: 1 + utf8.RuneCount(data[start:i])}, what
		}
		i += size
	}
	return nil, ""
}

// syntax says in our words where the file stops being YAML, judged from the
// line itself; what the library says goes along for those who know YAML.
func (r *reader) syntax(data []byte, err error) {
	d := Diagnostic{Summary: "the file is not YAML from here on", Cause: err,
		Hint: "compare the indentation, the colons and the brackets with the lines above"}
	var at *yaml.LoadError
	var mark yaml.Node
	if errors.As(err, &at) {
		mark.Line, mark.Column = at.Mark.Line, at.Mark.Column
		if at.ContextMark.Line > 0 && at.ContextMsg != "" {
			// The start of what was never closed says more than where the
			// reader gave up.
			mark.Line, mark.Column = at.ContextMark.Line, at.ContextMark.Column
		}
	}
	if mark.Line > 0 {
		if summary, hint := explain(data, mark.Line, mark.Column); summary != "" {
			d.Summary, d.Hint = summary, hint
		}
		r.report(&mark, d)
		return
	}
	r.report(nil, d)
}

// explain recognises the common slips at a place.
func explain(data []byte, line, column int) (summary, hint string) {
	text := lineOf(data, line)
	indent := text[:len(text)-len(bytes.TrimLeft(text, " \t"))]
	rest := []byte(nil)
	if column-1 < len(text) {
		rest = text[max(column-1, 0):]
	}
	switch {
	case bytes.ContainsRune(indent, '\t'):
		return "a tab indents this line", "indent with spaces"
	case bytes.HasPrefix(rest, []byte("\"")), bytes.HasPrefix(rest, []byte("'")):
		return "the quoted text that starts here does not end, or has something behind it", "close the quote"
	case bytes.HasPrefix(rest, []byte("{")):
		return "the { that starts here is not closed, or a comma is missing in it", "close it with }"
	case bytes.HasPrefix(rest, []byte("[")):
		return "the [ that starts here is not closed, or a comma is missing in it", "close it with ]"
	case bytes.HasPrefix(rest, []byte("*")):
		return "the alias that starts here has no anchor above it", "write the anchor as &name before it is used"
	case bytes.HasPrefix(rest, []byte("%")), bytes.HasPrefix(rest, []byte("@")), bytes.HasPrefix(rest, []byte("`")):
		return "a text cannot start with " + string(rest[:1]), "put it in quotes"
	case bytes.HasPrefix(rest, []byte(":")):
		return "a second colon stands on this line", "put a text that has a colon in quotes, and each key on a line of its own"
	}
	return "", ""
}

// lineOf returns a line of the file, from 1, without its end.
func lineOf(data []byte, line int) []byte {
	for ; line > 1; line-- {
		i := bytes.IndexByte(data, '\n')
		if i < 0 {
			return nil
		}
		data = data[i+1:]
	}
	if i := bytes.IndexByte(data, '\n'); i >= 0 {
		data = data[:i]
	}
	return bytes.TrimSuffix(data, []byte("\r"))
}
