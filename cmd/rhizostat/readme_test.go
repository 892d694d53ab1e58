package main

import (
	"bytes"
	"context"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the README's output blocks anew")

const readme = "../../README.md"

// The README's blocks are what the program prints: the demo's summary and table,
// and what check makes of the site file that stands in it.
func TestReadmeIsTrue(t *testing.T) {
	text, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "site.yaml")
	if err := os.WriteFile(file, []byte(block(t, text, "```yaml site.yaml\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	want := map[string]string{"<!-- check -->": printed(t, "check", file)}
	if !testing.Short() {
		demo := printed(t, "demo", "--approve", "--for", "72h", "--broker", "127.0.0.1:0", "--http", "127.0.0.1:0")
		summary := demo[strings.Index(demo, "72 h of simulated time"):]
		summary, _, _ = strings.Cut(summary, "\nEvery setpoint")
		want["<!-- demo -->"] = summary
		tables := strings.Split(demo, "\n\n")
		for _, table := range tables {
			if strings.HasPrefix(table, "Wed") && strings.Contains(table, "14:00") {
				want["<!-- table -->"] = table + "\n"
			}
		}
	}
	for marker, output := range want {
		head := marker + "\n```text\n"
		got := block(t, text, head)
		if *update {
			text = bytes.Replace(text, []byte(head+got+"```"), []byte(head+output+"```"), 1)
			continue
		}
		// what the simulation comes to may differ in its last digits from one
		// machine to the next, and with how fast the daemon keeps up
		if marker != "<!-- check -->" {
			got, output = shape(got), shape(output)
		}
		if got != output {
			t.Errorf("%s: the README has\n%s\nthe program prints\n%s", marker, got, output)
		}
	}
	if *update {
		if err := os.WriteFile(readme, text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// printed runs the program and gives what it writes to standard output.
func printed(t *testing.T, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run(context.Background(), args, streams{strings.NewReader(""), &out, &errs}); code != 0 {
		t.Fatalf("%v: status %d: %s", args, code, errs.String())
	}
	return out.String()
}

// block gives what stands between a head and the end of its fence.
func block(t *testing.T, text []byte, head string) string {
	t.Helper()
	_, after, ok := strings.Cut(string(text), head)
	if !ok {
		t.Fatalf("the README has no %q", head)
	}
	body, _, ok := strings.Cut(after, "```")
	if !ok {
		t.Fatalf("%q has no end", head)
	}
	return body
}

var numbers = regexp.MustCompile(`[-+]?[0-9][0-9.]*`)

// shape keeps the words of the first column and the headings.
func shape(s string) string {
	var lines []string
	for _, line := range strings.Split(s, "\n") {
		first, _, _ := strings.Cut(line, "  ")
		lines = append(lines, numbers.ReplaceAllString(first, "#"))
	}
	return strings.Join(lines, "\n")
}
