package exposition

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"pgregory.net/rapid"
)

// healthy is a sample with every number known.
func healthy(zone string) *Sample {
	return &Sample{
		Site: "north", Zone: zone,
		WaterContent: 0.57134, AirFilledPorosity: 0.30, FullPoint: 0.60, RefillPoint: 0.50, DrybackDepth: 0.11, OvernightDrybackDepth: 0.12,
		AerationMargin: -0.05, Stability: 0.93, PoreEC: 2.9, AdviceConfidence: 0.86,
		SaturationS: 1234.5678, InBandS: 86400, AboveBandS: 60, BelowBandS: 0.25, UptakeML: 1310.5, IrrigationML: 1500, DrainML: 180,
		SaturationS24h: 3600, LastReadingUnixS: 1777874700.25, Pending: true, DecideByUnixS: 1777881600, ForecastCovered: 0.9,
		ForecastErrors: []HorizonError{{"1h", 0.0041}, {"24h", 0.0123}},
		Probes:         []ProbeHealth{{"p1", true}, {"p2", false}},
		Findings:       []Finding{{"emitter-fault", 0.81}},
	}
}

// silent is a zone of which nothing is known yet.
func silent(zone string) *Sample {
	nan := math.NaN()
	return &Sample{
		Site: "north", Zone: zone, WaterContent: nan, AirFilledPorosity: nan, FullPoint: 0.6, RefillPoint: 0.5, DrybackDepth: nan, OvernightDrybackDepth: nan,
		AerationMargin: nan, Stability: nan, PoreEC: nan, AdviceConfidence: nan, LastReadingUnixS: nan, ForecastCovered: nan, SetAside: true,
	}
}

// lived is the instruments of a daemon to which everything has happened once.
func lived(tb testing.TB) *Metrics {
	tb.Helper()
	m := NewMetrics("1.2.3", []string{"late", "not-json"})
	m.Site("north", 2)
	m.Message("accepted", "")
	m.Message("refused", "late")
	m.Message("partial", "unknown-unit")
	m.Advice("north", "irrigate")
	m.Asked("north")
	m.Decision("north", "approve", "accepted")
	m.Decision("north", "rm -rf", "refused")
	m.Dryback("north", 0.19)
	m.BrokerConnected(true)
	m.LedgerWritable(true)
	m.ZonesFrom(board{healthy("bench-07"), nil, silent("bench-08")}.Each)
	return m
}

func exposed(tb testing.TB, m *Metrics) string {
	tb.Helper()
	var b bytes.Buffer
	if err := m.Expose(&b); err != nil {
		tb.Fatal(err)
	}
	return b.String()
}

func parse(tb testing.TB, text string) map[string]*dto.MetricFamily {
	tb.Helper()
	parser := expfmt.NewTextParser(model.UTF8Validation)
	families, err := parser.TextToMetricFamilies(strings.NewReader(text))
	if err != nil {
		tb.Fatalf("%v in\n%s", err, text)
	}
	return families
}

// TestLint holds the whole output against the conventions of Prometheus.
func TestLint(t *testing.T) {
	problems, err := promlint.New(strings.NewReader(exposed(t, lived(t)))).Lint()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

// TestPromtool does the same with promtool.
func TestPromtool(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed")
	}
	check := exec.Command(tool, "check", "metrics")
	check.Stdin = strings.NewReader(exposed(t, lived(t)))
	if out, err := check.CombinedOutput(); err != nil {
		t.Errorf("promtool check metrics: %v\n%s", err, out)
	}
}

// TestEveryInstrument: each row of the table is in the output with its type and
// its labels, and nothing of ours is there that the table has not.
func TestEveryInstrument(t *testing.T) {
	families := parse(t, exposed(t, lived(t)))
	for i := range Instruments {
		m := &Instruments[i]
		f := families[m.Name]
		if f == nil {
			t.Errorf("%s is not there", m.Name)
			continue
		}
		if strings.ToLower(f.GetType().String()) != string(m.Type) || f.GetHelp() != m.Help {
			t.Errorf("%s: %s %q", m.Name, f.GetType(), f.GetHelp())
		}
		var labels []string
		for _, l := range f.GetMetric()[0].GetLabel() {
			labels = append(labels, l.GetName())
		}
		want := slices.Clone(m.Labels)
		slices.Sort(want)
		slices.Sort(labels)
		if !slices.Equal(labels, want) {
			t.Errorf("%s: labels %v, want %v", m.Name, labels, want)
		}
	}
	for name := range families {
		if strings.HasPrefix(name, "rhizostat_") {
			instrument(name) // panics when it is not in the table
		}
	}
	for _, others := range []string{"go_goroutines", "process_cpu_seconds_total"} {
		if families[others] == nil {
			t.Errorf("%s is not there", others)
		}
	}
}

// TestLines: the very lines, in base units.
func TestLines(t *testing.T) {
	text := exposed(t, lived(t))
	for _, want := range []string{
		`rhizostat_zone_water_content_ratio{site="north",zone="bench-07"} 0.5713`,
		`rhizostat_zone_aeration_margin_ratio{site="north",zone="bench-07"} -0.05`,
		`rhizostat_zone_pore_ec_siemens_per_meter{site="north",zone="bench-07"} 0.29`, // 2.9 mS/cm
		`rhizostat_zone_saturation_seconds_total{site="north",zone="bench-07"} 1234.568`,
		`rhizostat_zone_saturation_seconds_24h{site="north",zone="bench-07"} 3600`,
		`rhizostat_zone_uptake_liters_total{site="north",zone="bench-07"} 1.3105`, // 1310.5 mL
		`rhizostat_zone_below_band_seconds_total{site="north",zone="bench-07"} 0.25`,
		`rhizostat_zone_last_reading_timestamp_seconds{site="north",zone="bench-07"} 1777874700.25`,
		`rhizostat_zone_probe_healthy{site="north",zone="bench-07",probe="p1"} 1`,
		`rhizostat_zone_probe_healthy{site="north",zone="bench-07",probe="p2"} 0`,
		`rhizostat_zone_diagnosis_probability{site="north",zone="bench-07",cause="emitter-fault"} 0.81`,
		`rhizostat_forecast_absolute_error_ratio{site="north",zone="bench-07",horizon="24h"} 0.0123`,
		`rhizostat_advice_pending{site="north",zone="bench-07"} 1`,
		`rhizostat_advice_pending{site="north",zone="bench-08"} 0`,
		`rhizostat_zone_set_aside{site="north",zone="bench-08"} 1`,
		`rhizostat_zone_full_point_ratio{site="north",zone="bench-08"} 0.6`,
		`rhizostat_intake_messages_total{reason="",result="accepted"} 1`,
		`rhizostat_intake_messages_total{reason="not-json",result="refused"} 0`,
		`rhizostat_intake_messages_total{reason="unknown-unit",result="partial"} 1`,
		`rhizostat_decisions_total{decision="approve",result="accepted",site="north"} 1`,
		`rhizostat_decisions_total{decision="unreadable",result="refused",site="north"} 1`,
		`rhizostat_site_dryback_depth_ratio_bucket{site="north",le="0.2"} 1`,
		`rhizostat_site_dryback_depth_ratio_bucket{site="north",le="0.15"} 0`,
	} {
		if !strings.Contains(text, "\n"+want+"\n") {
			t.Errorf("no line %s", want)
		}
	}
	for _, no := range []string{`rhizostat_zone_water_content_ratio{site="north",zone="bench-08"`, `advice_decide_by_timestamp_seconds{site="north",zone="bench-08"`, "NaN\n"} {
		if strings.Contains(text, no) {
			t.Errorf("there is %s, which is not known", no)
		}
	}
}

// TestRounding: a rounded number reads back as the nearest multiple, shortest.
func TestRounding(t *testing.T) {
	tests := []struct {
		v        float64
		decimals int
		want     string
	}{
		{0, 4, "0"}, {-0.00001, 4, "0"}, {0.5, 0, "1"}, {0.05, 4, "0.05"}, {1.00004, 4, "1"}, {-12.3456, 3, "-12.346"},
		{1e15, 3, "1e+15"}, {123456789.125, 3, "123456789.125"}, {0.99999, 4, "1"},
	}
	for _, tt := range tests {
		if got := string(appendRounded(nil, tt.v, tt.decimals)); got != tt.want {
			t.Errorf("%v to %d decimals is %s, want %s", tt.v, tt.decimals, got, tt.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		v, decimals := rapid.Float64Range(-1e6, 1e6).Draw(t, "v"), rapid.IntRange(0, 5).Draw(t, "decimals")
		text := string(appendRounded(nil, v, decimals))
		var got float64
		if _, err := fmt.Sscanf(text, "%g", &got); err != nil || math.Abs(got-v) > 0.5/powers[decimals]+math.Nextafter(1e6, 2e6)-1e6 {
			t.Fatalf("%v to %d decimals is %s", v, decimals, text)
		}
		if _, after, ok := strings.Cut(text, "."); ok && (len(after) > decimals || strings.HasSuffix(after, "0")) {
			t.Fatalf("%v to %d decimals is %s", v, decimals, text)
		}
	})
}

// TestEscaping: whatever is in a label comes back through Prometheus's own parser.
func TestEscaping(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := healthy(rapid.StringOf(rapid.RuneFrom([]rune("a\"\\\n{},=é "))).Draw(t, "zone"))
		s.Probes = []ProbeHealth{{rapid.StringOf(rapid.RuneFrom([]rune("p\"\\\n#"))).Draw(t, "probe"), true}}
		var b bytes.Buffer
		if err := writeZones(&b, func(yield func(*Sample) bool) { yield(s) }); err != nil {
			t.Fatal(err)
		}
		parser := expfmt.NewTextParser(model.UTF8Validation)
		families, err := parser.TextToMetricFamilies(&b)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range families["rhizostat_zone_probe_healthy"].GetMetric()[0].GetLabel() {
			if l.GetName() == "zone" && l.GetValue() != s.Zone || l.GetName() == "probe" && l.GetValue() != s.Probes[0].Probe {
				t.Fatalf("%s came back as %q", l.GetName(), l.GetValue())
			}
		}
	})
}

// broken fails after so many bytes.
type broken struct{ left int }

func (b *broken) Write(p []byte) (int, error) {
	if b.left -= len(p); b.left < 0 {
		return 0, io.ErrClosedPipe
	}
	return len(p), nil
}

// TestCut: a scraper that goes away ends the work.
func TestCut(t *testing.T) {
	yields := 0
	err := writeZones(&broken{3 * flushAt}, func(yield func(*Sample) bool) {
		for range 50000 {
			yields++
			if !yield(healthy("bench")) {
				return
			}
		}
	})
	if err == nil || yields > 10000 {
		t.Errorf("%v after %d zones", err, yields)
	}
}

var rewrite = flag.Bool("rewrite", false, "write deploy/metrics.md anew from the table of instruments")

const documentHead = "# Metrics\n\nMade from the table in `service/exposition/metrics.go` by `go test ./service/exposition -run Table -rewrite`.\nThe process's and the Go runtime's own (`process_*`, `go_*`) stand beside these.\n\n"

// TestTable: the documentation is the table, and has a row for each instrument.
func TestTable(t *testing.T) {
	var b bytes.Buffer
	if err := WriteTable(&b); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join("..", "..", "deploy", "metrics.md")
	if *rewrite {
		if err := os.WriteFile(file, []byte(documentHead+b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := os.ReadFile(file); err != nil || string(got) != documentHead+b.String() {
		t.Errorf("%s is not what the table says (%v); run go test ./service/exposition -run Table -rewrite", file, err)
	}
	if rows := strings.Count(b.String(), "\n"); rows != len(Instruments)+2 {
		t.Errorf("%d rows for %d instruments", rows, len(Instruments))
	}
	seen := map[string]bool{}
	for i := range Instruments {
		m := &Instruments[i]
		if seen[m.Name] || m.Help == "" || m.Unit == "" || m.From == "" || strings.ContainsAny(m.Help, "\\\n|") {
			t.Errorf("%+v", m)
		}
		seen[m.Name] = true
	}
	if err := WriteTable(&broken{10}); err == nil {
		t.Error("a broken writer is no error")
	}
}
