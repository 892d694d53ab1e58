package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rhizostat/policy"
	"rhizostat/policy/sensing"
)

// day is a forecast of 24 h in steps of 15 min: the water falls from a start, a
// shot lifts it at noon, and the interval widens.
func day(start float64) policy.Course {
	var c policy.Course
	for i := range 97 {
		v := start - 0.0011*float64(i)
		if i >= 48 {
			v += 0.05
		}
		c.WaterContent = append(c.WaterContent, v)
		c.Low = append(c.Low, v-0.0008*float64(i))
		c.High = append(c.High, v+0.0007*float64(i))
	}
	return c
}

// older makes a ledger as version 1 left it, with two points.
func older(t *testing.T, path string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	hour := noon.Unix() / secondsPerHour
	for _, s := range []string{
		fmt.Sprintf(`PRAGMA application_id = %d`, applicationID), schema, `PRAGMA user_version = 1`,
		`INSERT INTO zone_keys (key, site, zone) VALUES (7, 'north', 'bench-07')`,
		fmt.Sprintf(`INSERT INTO points VALUES (%d, 7, 300, 5711, 6000, 5000, 3000, 12, 150, 20, 14, 291, 214)`, hour),
		fmt.Sprintf(`INSERT INTO points VALUES (%d, 7, 600, 5701, 6000, 5000, 3000, 0, 0, 0, 0, NULL, NULL)`, hour),
	} {
		if _, err := db.Exec(s); err != nil {
			t.Fatal(s, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestOlderLedger: a ledger of before is brought up to date when the daemon opens
// it, what it has stays as it was, and new points come beside the old.
func TestOlderLedger(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	older(t, path)
	if _, err := OpenReadOnly(t.Context(), path); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("it has version 1, this program reads %d", len(migrations))) {
		t.Errorf("a report of a ledger that no daemon has brought up to date: %v", err)
	}
	l := open(t, path)
	b := full(t, "bench-07")
	b.Points = b.Points[:1]
	b.Points[0].At = noon.Add(15 * time.Minute)
	if err := l.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	points := pointsOf(t, &l.Reader, "bench-07", noon, noon.Add(time.Hour))
	if len(points) != 3 {
		t.Fatalf("%d points, want 3", len(points))
	}
	if p := points[0]; p.WaterContent != 0.5711 || p.IrrigationML != 150 || *p.PoreEC != 2.91 || p.SD != 0 || p.Probes != nil {
		t.Errorf("the old point is %+v", p)
	}
	if p := points[2]; p.SD != 0.0062 || len(p.Probes) != 3 {
		t.Errorf("the new point is %+v", p)
	}
}

// Every state of health has a number in the file, and it is the one that files of
// before have.
func TestHealths(t *testing.T) {
	want := []string{"ok", "stale", "stuck", "out-of-range", "jumping", "drifting", "disagreeing", "clock-wrong"}
	if !slices.Equal(healths[:], want) || len(healths) > 1<<healthBits {
		t.Errorf("%v, want %v", healths, want)
	}
	for h := range sensing.HealthCount {
		if !slices.Contains(healths[:], sensing.Health(h).String()) {
			t.Errorf("%s has no number", sensing.Health(h))
		}
	}
}

// What goes into a blob comes out of it, to the last unit of its columns.
func TestBlobs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		content := rapid.Float64Range(0, 1)
		n := rapid.IntRange(0, 300).Draw(t, "values")
		draw := func(name string) []float64 { return rapid.SliceOfN(content, n, n).Draw(t, name) }
		c := policy.Course{WaterContent: draw("mean"), Low: draw("low"), High: draw("high")}
		blob, err := appendCourse(nil, &c)
		if err != nil {
			t.Fatal(err)
		}
		got, err := courseOf(blob)
		if err != nil || len(got.WaterContent) != n {
			t.Fatal(len(got.WaterContent), err)
		}
		for i := range n {
			if math.Abs(got.WaterContent[i]-c.WaterContent[i]) > 0.000051 || math.Abs(got.Low[i]-c.Low[i]) > 0.000101 || math.Abs(got.High[i]-c.High[i]) > 0.000101 {
				t.Fatalf("value %d is %g, %g to %g", i, got.WaterContent[i], got.Low[i], got.High[i])
			}
		}
		var probes []Probe
		for i := range rapid.IntRange(1, 9).Draw(t, "probes") {
			p := Probe{ID: fmt.Sprint("p", i), Health: rapid.SampledFrom(healths[:]).Draw(t, "health"), AgeS: rapid.IntRange(0, maxAgeS).Draw(t, "age")}
			if p.Seen = rapid.Bool().Draw(t, "seen"); p.Seen {
				p.WaterContent = math.Round(content.Draw(t, "content")*contentScale) / contentScale
			}
			probes = append(probes, p)
		}
		if blob, err = appendProbes(nil, probes); err != nil {
			t.Fatal(err)
		}
		back, err := probesOf([]byte(idsOf(probes)), blob)
		if err != nil || !slices.Equal(back, probes) {
			t.Fatalf("%+v (%v), want %+v", back, err, probes)
		}
	})
}

// What cannot be a course or a probe is refused with a sentence.
func TestRefusedBlobs(t *testing.T) {
	odd := day(0.5)
	odd.Low = odd.Low[:96]
	nan := day(0.5)
	nan.High[3] = math.NaN()
	for name, c := range map[string]policy.Course{"a short interval": odd, "not a number": nan} {
		if _, err := appendCourse(nil, &c); err == nil || !strings.Contains(err.Error(), "expected") {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, p := range []Probe{{ID: "p1", Health: "fine"}, {ID: "p1", Health: "ok", Seen: true, WaterContent: math.Inf(1)}} {
		if _, err := appendProbes(nil, []Probe{p}); err == nil || !strings.Contains(err.Error(), "probe p1") {
			t.Errorf("%+v: %v", p, err)
		}
	}
}

// FuzzCourseOf: whatever lies in a row of forecasts is read or refused, and what is
// read has its interval and finite numbers.
func FuzzCourseOf(f *testing.F) {
	c := day(0.5)
	blob, err := appendCourse(nil, &c)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(blob)
	f.Add(blob[:90])
	f.Fuzz(func(t *testing.T, blob []byte) {
		c, err := courseOf(blob)
		if err != nil {
			return
		}
		if len(c.Low) != len(c.WaterContent) || len(c.High) != len(c.WaterContent) {
			t.Fatalf("%d values, %d below, %d above", len(c.WaterContent), len(c.Low), len(c.High))
		}
		if _, err := appendCourse(nil, &c); err != nil && !strings.Contains(err.Error(), "finite") {
			t.Fatal(err)
		}
	})
}

// FuzzProbesOf: the same for what probes read.
func FuzzProbesOf(f *testing.F) {
	f.Add([]byte("p1 p2"), []byte{0x99, 0x2d, 0xe0, 3, 0, 1})
	f.Add([]byte(""), []byte{})
	f.Fuzz(func(t *testing.T, ids, blob []byte) {
		probes, err := probesOf(ids, blob)
		if err != nil {
			return
		}
		if _, err := appendProbes(nil, probes); err != nil {
			t.Fatal(err)
		}
	})
}

// TestFlat: a ledger that is pruned does not grow once it has as much as it keeps,
// and what it takes for a zone and day is what the doc comments say.
func TestFlat(t *testing.T) {
	const zones, keep = 4, 3
	path := filepath.Join(t.TempDir(), "ledger.db")
	l, err := Open(t.Context(), path, Options{KeepPoints: keep * 24 * time.Hour, KeepHistory: keep * 24 * time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	var sizes []int64
	for d := range 12 {
		for h := range 24 {
			hour := noon.Add(time.Duration(24*d+h) * time.Hour)
			if err := l.Commit(t.Context(), oneHour(zones, hour, h == 0)); err != nil {
				t.Fatal(err)
			}
			if err := l.Prune(t.Context(), hour.Add(time.Hour)); err != nil {
				t.Fatal(err)
			}
		}
		sizes = append(sizes, pages(t, l)*4096)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	full := sizes[keep+1]
	if last := sizes[len(sizes)-1]; float64(last) > 1.03*float64(full) || info.Size() != last {
		t.Errorf("the file is %d bytes at the end and was %d when it had its %d days; expected it flat (by day: %v)", last, full, keep, sizes)
	}
	perDay := float64(full) / zones / (keep + 1) // the day that is being dropped too
	t.Logf("%.1f KB a zone and day", perDay/1000)
	if perDay > 20_000 { // 1.7 MB in 90 days are 19,000
		t.Errorf("%.0f bytes a zone and day", perDay)
	}
}

// oneHour is what some zones of three probes leave in an hour.
func oneHour(zones int, hour time.Time, morning bool) (b Batch) {
	for z := range zones {
		zone := fmt.Sprint("z", z)
		for m := 0; m < 60; m += 5 {
			v := 0.5 + 0.001*float64(m) + 0.003*float64(z)
			p := Point{Site: "north", Zone: zone, At: hour.Add(time.Duration(m) * time.Minute), WaterContent: v, SD: 0.006, FullPoint: 0.6, RefillPoint: 0.5, AirFilledPorosity: 0.3, UptakeML: 8}
			for i := range 3 {
				p.Probes = append(p.Probes, Probe{ID: fmt.Sprint("p", i), Seen: true, WaterContent: v + 0.01*float64(i), AgeS: 40 * i, Health: "ok"})
			}
			b.Points = append(b.Points, p)
		}
		if morning {
			b.Forecasts = append(b.Forecasts, Forecast{Site: "north", Zone: zone, IssuedAt: hour, Step: 15 * time.Minute, Plan: day(0.6), AsUsual: day(0.58)})
		}
	}
	return b
}

func pages(t *testing.T, l *Ledger) (n int64) {
	t.Helper()
	if err := l.write.QueryRowContext(context.Background(), `PRAGMA page_count`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}
