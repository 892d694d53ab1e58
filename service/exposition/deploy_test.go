package exposition

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// named finds what looks like one of our metrics; a recording rule has a colon
// before it.
var named = regexp.MustCompile(`(^|[^:a-z_])(rhizostat_[a-z0-9_]+)`)

// TestDeployedNames: rules, alerts and dashboards ask only for what the table has.
func TestDeployedNames(t *testing.T) {
	have := map[string]bool{}
	for i := range Instruments {
		have[Instruments[i].Name] = true
		if Instruments[i].Type == Histogram {
			for _, part := range []string{"_bucket", "_sum", "_count"} {
				have[Instruments[i].Name+part] = true
			}
		}
	}
	for _, file := range []string{"rules.yaml", "rules_test.yaml", "dashboard.json"} {
		data, err := os.ReadFile(filepath.Join("..", "..", "deploy", file))
		if err != nil {
			t.Fatal(err)
		}
		found := named.FindAllSubmatch(data, -1)
		if len(found) == 0 {
			t.Errorf("%s names no metric", file)
		}
		for _, m := range found {
			if name := string(m[2]); !have[name] {
				t.Errorf("%s: %s is not in the table of instruments", file, name)
			}
		}
	}
}

// TestRules runs the unit tests of the rules and alerts.
func TestRules(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed")
	}
	if testing.Short() {
		t.Skip("the rules are tried over simulated weeks, which takes seconds")
	}
	for _, arguments := range []string{"check rules rules.yaml", "test rules rules_test.yaml", "check config --syntax-only prometheus.yaml"} {
		run := exec.Command(tool, strings.Fields(arguments)...)
		run.Dir = filepath.Join("..", "..", "deploy")
		if out, err := run.CombinedOutput(); err != nil {
			t.Errorf("promtool %s: %v\n%s", arguments, err, out)
		}
	}
}
