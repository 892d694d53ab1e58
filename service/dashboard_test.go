package service

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"rhizostat/service/demo"
)

// prometheus is a real one that scrapes a demo.
type prometheus struct {
	address string
	log     *locked
}

// startPrometheus scrapes an address every other second, for as long at most, with the
// rules that we ship evaluated twice a second.
func startPrometheus(t *testing.T, target string) *prometheus {
	t.Helper()
	program := tool(t, "prometheus")
	folder := t.TempDir()
	rules, err := os.ReadFile(filepath.Join("..", "deploy", "rules.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	rules = regexp.MustCompile(`(?m)^    interval: .*\n`).ReplaceAll(rules, nil)
	config := fmt.Sprintf("global: {scrape_interval: 2s, scrape_timeout: 2s, evaluation_interval: 500ms}\nrule_files: [rules.yaml]\n"+
		"scrape_configs:\n- job_name: rhizostat\n  static_configs: [{targets: [%q]}]\n", target)
	for name, text := range map[string]string{"rules.yaml": string(rules), "prometheus.yaml": config} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	p := &prometheus{address: fmt.Sprintf("127.0.0.1:%d", freePort(t)), log: new(locked)}
	command := exec.Command(program, "--config.file="+filepath.Join(folder, "prometheus.yaml"), "--storage.tsdb.path="+filepath.Join(folder, "data"),
		"--web.listen-address="+p.address, "--log.level=warn")
	command.Stderr = p.log
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		command.Process.Signal(syscall.SIGTERM)
		command.Wait() // it is asked to end; how it does is not ours
	})
	eventually(t, 20*time.Second, func() string { return "prometheus is not ready\n" + p.log.String() }, func() bool {
		r, err := http.Get("http://" + p.address + "/-/ready")
		if err != nil {
			return false
		}
		r.Body.Close()
		return r.StatusCode == http.StatusOK
	})
	return p
}

// get asks Prometheus and gives the data of its answer.
func (p *prometheus) get(path string, values url.Values, data any) error {
	r, err := http.Get("http://" + p.address + path + "?" + values.Encode())
	if err != nil {
		return err
	}
	defer r.Body.Close()
	var answer struct {
		Status, Error string
		Data          json.RawMessage
	}
	if err := json.NewDecoder(r.Body).Decode(&answer); err != nil {
		return err
	}
	if answer.Status != "success" {
		return fmt.Errorf("%s", answer.Error)
	}
	return json.Unmarshal(answer.Data, data)
}

// rows is how many series an expression gives now.
func (p *prometheus) rows(expr string) (int, error) {
	var data struct{ Result []json.RawMessage }
	err := p.get("/api/v1/query", url.Values{"query": {expr}}, &data)
	return len(data.Result), err
}

// dashboard is what of one the test must know.
type dashboard struct {
	Templating struct {
		List []struct {
			Name, Type string
			Query      json.RawMessage
		}
	}
	Panels []panel
}

type panel struct {
	Title   string
	Panels  []panel
	Targets []struct{ Expr string }
}

// expressions are those of all panels, by title.
func expressions(panels []panel) map[string][]string {
	out := map[string][]string{}
	for _, p := range panels {
		for _, t := range p.Targets {
			out[p.Title] = append(out[p.Title], t.Expr)
		}
		for title, more := range expressions(p.Panels) {
			out[title] = append(out[title], more...)
		}
	}
	return out
}

var labelValues = regexp.MustCompile(`^label_values\((.*), *(\w+)\)$`)

// fill gives each variable its values, as the page does: all of them, as a
// regular expression.
func fill(t *testing.T, p *prometheus, d *dashboard) *strings.Replacer {
	t.Helper()
	filled := []string{"$__rate_interval", "1m", "$__range", "1m", "$__interval", "15s"}
	for _, v := range d.Templating.List {
		if v.Type != "query" {
			continue
		}
		var asked struct{ Query string }
		if err := json.Unmarshal(v.Query, &asked); err != nil {
			t.Fatal(err)
		}
		m := labelValues.FindStringSubmatch(strings.NewReplacer(filled...).Replace(asked.Query))
		if m == nil {
			t.Fatalf("variable %s: %s is not the values of a label", v.Name, asked.Query)
		}
		var values []string
		if err := p.get("/api/v1/label/"+m[2]+"/values", url.Values{"match[]": {m[1]}}, &values); err != nil {
			t.Fatalf("variable %s: %v", v.Name, err)
		}
		if len(values) == 0 {
			t.Fatalf("variable %s has no values", v.Name)
		}
		// an equality is of a panel that is repeated for each value
		filled = append(filled, `="$`+v.Name+`"`, `="`+values[0]+`"`, "$"+v.Name, strings.Join(values, "|"))
	}
	return strings.NewReplacer(filled...)
}

// Every query of the dashboard, asked of a real Prometheus that has scraped a
// demo with the rules that we ship: none is wrong, none is empty.
func TestDashboardShowsSomethingEverywhere(t *testing.T) {
	notUnderRace(t)
	t.Parallel()
	tool(t, "prometheus")
	if testing.Short() {
		t.Skip("a demo is scraped for many seconds")
	}
	file, err := os.ReadFile(filepath.Join("..", "deploy", "dashboard.json"))
	if err != nil {
		t.Fatal(err)
	}
	var d dashboard
	if err := json.Unmarshal(file, &d); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	playing := startDemo(ctx, demo.Options{Approve: true})
	defer func() {
		stop()
		if err := <-playing.ended; err != nil {
			t.Error(err)
		}
	}()
	p := startPrometheus(t, playing.said(t, metricsSaid))
	eventually(t, 30*time.Second, text("prometheus has no water content"), func() bool {
		n, err := p.rows("rhizostat_zone_water_content_ratio")
		return err == nil && n == 4
	})
	filled := fill(t, p, &d)
	left := expressions(d.Panels)
	if len(left) < 5 {
		t.Fatalf("%d panels have queries", len(left))
	}
	var empty []string
	for end := time.Now().Add(patience * 30 * time.Second); time.Now().Before(end); time.Sleep(500 * time.Millisecond) {
		if empty = ask(t, p, filled, left); len(empty) == 0 || t.Failed() {
			break
		}
	}
	for _, e := range empty {
		t.Errorf("nothing to show: %s", e)
	}
	alerts(t, p)
}

// ask evaluates what is left, drops what has something to show and gives the
// rest.
func ask(t *testing.T, p *prometheus, filled *strings.Replacer, left map[string][]string) (empty []string) {
	t.Helper()
	for title, all := range left {
		var rest []string
		for _, expr := range all {
			n, err := p.rows(filled.Replace(expr))
			if err != nil {
				t.Errorf("%s: %s: %v", title, filled.Replace(expr), err)
			} else if n == 0 {
				rest = append(rest, expr)
				empty = append(empty, title+": "+filled.Replace(expr))
			}
		}
		left[title] = rest
	}
	return empty
}

// rule is how Prometheus has found a rule: ok, err, or unknown before it was evaluated.
type rule struct{ Name, Health, LastError string }

// alerts wants every rule to have been evaluated without an error.
func alerts(t *testing.T, p *prometheus) {
	t.Helper()
	var all []rule
	eventually(t, 10*time.Second, func() string { return fmt.Sprintf("not every rule was evaluated: %+v", all) }, func() bool {
		var data struct{ Groups []struct{ Rules []rule } }
		if err := p.get("/api/v1/rules", nil, &data); err != nil {
			t.Fatal(err)
		}
		all = nil
		for _, g := range data.Groups {
			all = append(all, g.Rules...)
		}
		return !slices.ContainsFunc(all, func(r rule) bool { return r.Health == "unknown" })
	})
	for _, r := range all {
		if r.Health != "ok" {
			t.Errorf("rule %s is %s: %s", r.Name, r.Health, r.LastError)
		}
	}
	if n := len(all); n < 10 {
		t.Errorf("%d rules were evaluated", n)
	}
}
