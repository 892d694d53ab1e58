package site

import (
	"regexp"
	"strings"
	"testing"
)

// TestTable holds the table of keys against its own rules: every key is
// explained, every default has a source, every range is one.
func TestTable(t *testing.T) {
	var walk func(path string, k *Key)
	walk = func(path string, k *Key) {
		for i := range k.Keys {
			c := &k.Keys[i]
			at := path + c.Name
			if !strings.HasSuffix(c.Doc, ".") {
				t.Errorf("%s: %q is no sentence", at, c.Doc)
			}
			if c.Default != "" && c.Source == "" {
				t.Errorf("%s: the default %s has no source", at, c.Default)
			}
			if c.Default != "" && c.Derived != "" || c.Required && (c.Default != "" || c.Derived != "") {
				t.Errorf("%s: more than one thing happens when it is left out", at)
			}
			if c.Low > c.High {
				t.Errorf("%s: from %g to %g", at, c.Low, c.High)
			}
			if !regexp.MustCompile(`^[a-z][a-z0-9_]*$`).MatchString(c.Name) {
				t.Errorf("%s: the name is not of the house", at)
			}
			if regexp.MustCompile(`^(on|off|yes|no|y|n)$`).MatchString(c.Name) && c.Name != "n" {
				t.Errorf("%s: other YAML readers take the name for a flag", at)
			}
			absent(c) // panics when the default does not read
			walk(at+".", c)
		}
	}
	walk("", &document)
}

// TestDocument: each key has its row, and rows have the columns of the head.
func TestDocument(t *testing.T) {
	var b strings.Builder
	if err := Document(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	for _, line := range lines {
		if n := strings.Count(strings.ReplaceAll(line, "\\|", ""), "|"); n != 6 {
			t.Errorf("%d bars in %s", n, line)
		}
	}
	for _, want := range []string{
		"| `site` |", "| `zones.*.band.max_suction_kpa` | kPa from 0.5 to 30 | `5` |", "| `zones.*.stages[].band` | the keys of `zones.*.band` |",
		"| `telemetry[].json.SIGNAL.at` |", "| `telemetry[].sparkplug.metrics.*.signal` |", "| `setpoint_outputs[].sparkplug.metrics.run_time_s` |", "| `zones.*.approval.issue_before_day` | a duration such as 90m or 12h from 1h to 23h | `12h` |",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no row %q in\n%s", want, b.String())
		}
	}
	if strings.Contains(b.String(), "stages[].band.full_point") {
		t.Error("the band's keys stand twice")
	}
}
