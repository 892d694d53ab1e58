package site

import (
	"fmt"
	"io"
	"strings"
)

// Document writes the keys of a site file as a table in Markdown: what each
// takes, its default and where that comes from. It is made from the table that
// the reader itself uses.
func Document(w io.Writer) error {
	var b strings.Builder
	b.WriteString("| key | takes | left out | source of the default | what it is |\n|---|---|---|---|---|\n")
	for i := range document.Keys {
		documentKey(&b, "", &document.Keys[i])
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// documentKey writes the rows of a key and those within it.
func documentKey(b *strings.Builder, prefix string, k *Key) {
	path := prefix + k.Name
	takes := k.expected()
	switch {
	case k.Like != "":
		takes = "the keys of `" + k.Like + "`"
	case k.Kind == Section && len(k.Keys) > 0:
		takes = "the keys below"
	case k.Kind == Named:
		takes = "ids, each with the keys below"
		if len(k.Keys) == 0 {
			takes = "ids, each with {}"
		}
	case k.Kind == List:
		takes = "a list, each with the keys below"
	case k.Kind == Text:
		takes = "text"
	case k.Kind == Points:
		takes = "a list of pairs of " + k.Unit
	}
	out := "optional"
	switch {
	case k.Required:
		out = "a mistake"
	case k.Default != "":
		out = "`" + k.Default + "`"
	case k.Derived != "":
		out = k.Derived
	}
	source := k.Source
	if source == "" {
		source = "-"
	}
	fmt.Fprintf(b, "| `%s` | %s | %s | %s | %s |\n", path, cell(takes), cell(out), cell(source), cell(k.Doc))
	if k.Like != "" {
		return
	}
	switch k.Kind {
	case Named:
		path += ".*"
	case List:
		path += "[]"
	}
	for i := range k.Keys {
		if k.Name == "json" && k.Keys[i].Name != "time" {
			continue // one row for all signals, below
		}
		documentKey(b, path+".", &k.Keys[i])
	}
	if k.Name == "json" {
		signal := Key{Name: "SIGNAL", Kind: Section, Keys: fieldKeys, Doc: "Where a signal is; SIGNAL is one of " + strings.Join(signalNames, ", ") + "."}
		documentKey(b, path+".", &signal)
	}
}

// cell keeps a text from breaking the table.
func cell(s string) string { return strings.ReplaceAll(s, "|", "\\|") }
