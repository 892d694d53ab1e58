package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// week makes days of a pot by a plain balance with known answers: it drinks
// 0.010 m3/m3 an hour from 6 to 20, 0.002 at night, gets shots of 140 mL, 0.020
// m3/m3 in 7 L, from 7 to 17 every two hours and drains 20 mL of each from 11
// on. The second day has one shot too few, the third two hours without data.
func week(days int, step time.Duration) *Days {
	madrid, err := time.LoadLocation("Europe/Madrid")
	if err != nil {
		panic(err)
	}
	from := time.Date(2026, 5, 4, 0, 0, 0, 0, madrid)
	d := &Days{Site: "north", Zone: "bench-07", Location: madrid, From: from, To: from.AddDate(0, 0, days), TotalPorosity: 0.92,
		Band: []Edges{{from.Add(-time.Hour), 0.60, 0.50}}, Probes: []Trace{{ID: "p1"}, {ID: "p2"}}}
	if days > 1 {
		d.Band = append(d.Band, Edges{from.AddDate(0, 0, days-1), 0.58, 0.47})
	}
	theta := 0.56
	for t := from; t.Before(d.To); t = t.Add(step) {
		day, clock := int(t.Sub(from).Hours()/24), float64(t.Hour())+float64(t.Minute())/60
		rate := 0.002
		if clock >= 6 && clock < 20 {
			rate = 0.010
		}
		theta -= rate * step.Hours()
		d.Uptake = append(d.Uptake, Volume{t, rate * step.Hours() * 7000})
		if t.Minute() == 0 && t.Hour()%2 == 1 && clock >= 7 && clock <= 17 && !(day%7 == 1 && clock >= 11 && clock < 13) {
			theta += 0.026
			d.Shots = append(d.Shots, Volume{t, 200})
			if clock >= 11 {
				d.Drains = append(d.Drains, Volume{t.Add(step), 18})
			}
		}
		if day%7 == 2 && clock >= 13 && clock < 15 {
			continue
		}
		d.Water = append(d.Water, Water{t, theta, theta - 0.008, theta + 0.008})
		d.Probes[0].Readings = append(d.Probes[0].Readings, Reading{t, theta + 0.02 + 0.002*math.Sin(float64(t.Unix()))})
		d.Probes[1].Readings = append(d.Probes[1].Readings, Reading{t, theta - 0.015 + 0.002*math.Cos(float64(t.Unix()))})
	}
	for i := range days {
		morning := from.AddDate(0, 0, i).Add(6 * time.Hour)
		d.Starts = append(d.Starts, morning)
		f := Course{IssuedAt: morning, Step: 5 * time.Minute}
		for k := range 289 {
			came, ok := d.waterAt(morning.Add(time.Duration(k) * f.Step))
			if !ok {
				came = 0.55
			}
			v := came + 0.006*math.Sin(float64(k)/40)
			spread := 0.004 + 0.01*float64(k)/289
			f.WaterContent, f.Low, f.High = append(f.WaterContent, v), append(f.Low, v-spread), append(f.High, v+spread)
		}
		d.Forecasts = append(d.Forecasts, f)
		evening := morning.Add(-12 * time.Hour)
		d.Marks = append(d.Marks, Mark{evening, Issued, "irrigate"}, Mark{evening.Add(40 * time.Minute), []MarkKind{Approved, Rejected, Approved, Withdrawn}[i%4], "by head-grower"})
	}
	d.Marks = append(d.Marks, Mark{from.Add(34 * time.Hour), Happened, "shoots-pruned"})
	d.Saturated = []Span{{from.Add(11 * time.Hour), from.Add(12*time.Hour + 30*time.Minute)}, {from.Add(41 * time.Hour), from.Add(43 * time.Hour)}}
	return d
}

func TestDaily(t *testing.T) {
	d := week(3, 5*time.Minute)
	days := d.Daily()
	if len(days) != 3 {
		t.Fatalf("%d days", len(days))
	}
	first := days[0]
	if first.Shots != 6 || first.IrrigationML != 1200 || first.DrainML != 72 || math.Abs(first.DrainFraction-0.06) > 1e-12 {
		t.Errorf("%+v", first)
	}
	// 14 h of 0.010 and 10 h of 0.002 in 7 L.
	if math.Abs(first.UptakeML-(0.14+0.02)*7000) > 1e-6 {
		t.Errorf("uptake %g", first.UptakeML)
	}
	if first.SaturatedS != 1.5*3600 || days[1].SaturatedS != 2*3600 {
		t.Errorf("saturated %g and %g s", first.SaturatedS, days[1].SaturatedS)
	}
	// The first night has no shot before it; the second falls from just after
	// the shot at 17:00 to 07:00: 3 h and 1 h of day and 10 h of night.
	if !math.IsNaN(first.OvernightDryback) {
		t.Errorf("an overnight dryback of %g out of nothing", first.OvernightDryback)
	}
	if want := 0.010*(3+1-5.0/60) + 0.002*10; math.Abs(days[1].OvernightDryback-want) > 1e-9 {
		t.Errorf("overnight dryback %g, want %g", days[1].OvernightDryback, want)
	}
	if s := first.InBand + first.Above + first.Below; math.Abs(s-1) > 1e-12 {
		t.Errorf("shares add up to %g", s)
	}
	if days[1].Shots != 5 || !(first.Peak > first.Trough) || !(days[0].ForecastError > 0.001 && days[0].ForecastError < 0.006) || !(days[0].Coverage > 0.5) {
		t.Errorf("%+v", days)
	}
}

// TestDailyOfLittle: what is not in the record is NaN and a dash, not zero.
func TestDailyOfLittle(t *testing.T) {
	d := &Days{Site: "north", Zone: "z", From: time.Unix(0, 0), To: time.Unix(86400*2, 0)}
	for _, day := range d.Daily() {
		if !math.IsNaN(day.InBand) || !math.IsNaN(day.Peak) || !math.IsNaN(day.DrainFraction) || !math.IsNaN(day.UptakeML) || !math.IsNaN(day.ForecastError) {
			t.Errorf("%+v", day)
		}
	}
	var table, picture bytes.Buffer
	if err := d.Table(&table); err != nil || strings.Contains(table.String(), "NaN") {
		t.Errorf("%v\n%s", err, table.String())
	}
	if err := d.SVG(&picture); err != nil {
		t.Error(err)
	}
	d.To = d.From
	table.Reset()
	if err := errors.Join(d.Table(&table), d.SVG(&picture), d.PNG(&picture)); err != nil {
		t.Error(err)
	}
	if strings.Contains(table.String(), "mL per container") {
		t.Error("an empty table explains columns that it does not have")
	}
	if !strings.Contains(table.String(), "nothing is recorded") {
		t.Error("an empty table says nothing")
	}
}

// A record that begins before the first day's start has the rest of the day
// before in its first row: it must not look like the day itself.
func TestTableTellsARestOfADay(t *testing.T) {
	d := week(2, 5*time.Minute)
	d.Starts = nil
	for day := range 3 {
		d.Starts = append(d.Starts, d.From.AddDate(0, 0, day-1).Add(6*time.Hour))
	}
	var b strings.Builder
	if err := d.Table(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	for i, want := range []string{"until 06:00", "Mon 4 May", "Tue 5 May"} {
		if !strings.HasPrefix(lines[4+i], want) {
			t.Errorf("row %d is %q; expected %q", i, lines[4+i], want)
		}
	}
}

func TestTableWords(t *testing.T) {
	var b strings.Builder
	if err := week(4, 5*time.Minute).Table(&b); err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(b.String(), "\n") {
		if len(line) > columns {
			t.Errorf("%d columns: %q", len(line), line)
		}
	}
	compare(t, "testdata/table.txt", b.String())
}

func compare(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("%s (-want +got); -update rewrites it:\n%s", file, d)
	}
}

// TestSVG: the picture is well-formed XML, the same each time, small for a long
// record, within its own box, and shows what it is given.
func TestSVG(t *testing.T) {
	d := week(4, time.Minute)
	d.Zone = "a<b>&\"c\x01"
	var one, two bytes.Buffer
	if err := errors.Join(d.SVG(&one), d.SVG(&two)); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(one.Bytes(), two.Bytes()) {
		t.Error("two pictures of the same days differ")
	}
	if n := one.Len(); n > 500_000 {
		t.Errorf("%d bytes", n)
	}
	dec := xml.NewDecoder(&one)
	words := map[string]int{}
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := tok.(type) {
		case xml.StartElement:
			words[e.Name.Local]++
			for _, a := range e.Attr {
				if strings.Contains(a.Value, "NaN") {
					t.Errorf("%s %s is %s", e.Name.Local, a.Name.Local, a.Value)
				}
			}
		case xml.CharData:
			words[strings.TrimSpace(string(e))]++
		}
	}
	for _, want := range []string{"water content", "band", "forecast as issued, under the advice", "probe p1", "probe p2", "saturated", "shots", "drain", "approved", "rejected", "withdrawn", "event",
		"air m3/m3", "mL", "4 May", "saturated from 4 May 11:00 to 4 May 12:30"} {
		if words[want] == 0 {
			t.Errorf("the picture does not say %q", want)
		}
	}
	if words["polygon"] < 40 || words["polyline"] < 30 {
		t.Errorf("%d areas, %d lines", words["polygon"], words["polyline"])
	}
}

// TestPNG: the pixels are a picture of the same measures, and coloured where
// the SVG has something.
func TestPNG(t *testing.T) {
	d := week(3, 5*time.Minute)
	var b bytes.Buffer
	if err := d.PNG(&b); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	c := d.chart()
	if size := img.Bounds().Size(); size.X != chartWidth*pngScale || math.Abs(float64(size.Y)-c.height()*pngScale) > 1 {
		t.Errorf("%v", size)
	}
	seen := map[uint32]int{}
	for y := 0; y < img.Bounds().Dy(); y++ {
		for x := 0; x < img.Bounds().Dx(); x++ {
			r, g, b, _ := img.At(x, y).RGBA()
			seen[r>>8<<16|g>>8<<8|b>>8]++
		}
	}
	for name, rgb := range map[string]uint32{"water content": blue, "band edges": green, "forecast": orange, "ink": black, "paper": 0xffffff} {
		if seen[rgb] < 50 {
			t.Errorf("%s: %d pixels of #%06x", name, seen[rgb], rgb)
		}
	}
}

func TestTicks(t *testing.T) {
	tests := []struct {
		low, high float64
		most      int
		want      []float64
	}{
		{0, 1, 5, []float64{0, 0.2, 0.4, 0.6, 0.8, 1}},
		{0.47, 0.63, 8, []float64{0.48, 0.5, 0.52, 0.54, 0.56, 0.58, 0.6, 0.62}},
		{0, 330, 3, []float64{0, 200}},
		{0, 300, 3, []float64{0, 100, 200, 300}},
	}
	for _, tt := range tests {
		if got := ticks(tt.low, tt.high, tt.most); len(got) != len(tt.want) || math.Abs(got[0]-tt.want[0]) > 1e-9 || math.Abs(got[len(got)-1]-tt.want[len(tt.want)-1]) > 1e-9 {
			t.Errorf("ticks(%g, %g, %d) = %v, want %v", tt.low, tt.high, tt.most, got, tt.want)
		}
	}
}

// TestTimeTicks: on the day that clocks change, labels stay at whole local hours.
func TestTimeTicks(t *testing.T) {
	madrid, err := time.LoadLocation("Europe/Madrid")
	if err != nil {
		t.Fatal(err)
	}
	for _, day := range []int{28, 29} { // 29 March 2026 has 23 hours
		from := time.Date(2026, 3, day, 0, 0, 0, 0, madrid)
		labels := map[string]bool{}
		for _, tick := range timeTicks(from, from.AddDate(0, 0, 1), madrid, 600) {
			labels[tick.label] = true
		}
		if !labels["06:00"] || !labels["12:00"] || !labels["18:00"] {
			t.Errorf("day %d: %v", day, labels)
		}
	}
	for _, days := range []int{1, 3, 7, 30, 120, 400} {
		from := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
		last := -100.0
		for _, tick := range timeTicks(from, from.AddDate(0, 0, days), time.UTC, 1076) {
			if x := 1076 * tick.at.Sub(from).Hours() / 24 / float64(days); tick.label != "" && tick.day {
				if x-last < 39 {
					t.Errorf("%d days: labels %g px apart", days, x-last)
				}
				last = x
			}
		}
	}
}

// TestDashes: the drawn parts have the pattern's lengths, and all of the line is
// walked.
func TestDashes(t *testing.T) {
	line := []point{{0, 0}, {3, 0}, {3, 4}, {10, 4}}
	var drawn float64
	for _, part := range dashes(line, []float64{2, 1}) {
		for i := 0; i+1 < len(part); i++ {
			drawn += math.Hypot(part[i+1].x-part[i].x, part[i+1].y-part[i].y)
		}
	}
	// 14 long: four wholes of 2 and 1, then 2 more of line.
	if math.Abs(drawn-10) > 1e-9 {
		t.Errorf("%g drawn, want 10", drawn)
	}
}

// TestPictures writes the pictures for a person to look at, where asked:
// go test -run Pictures -update; they are not kept.
func TestPictures(t *testing.T) {
	folder := os.Getenv("PICTURES")
	if folder == "" {
		t.Skip("PICTURES names no folder to write them to")
	}
	for name, d := range map[string]*Days{"day": week(1, time.Minute), "days": week(4, time.Minute), "weeks": week(21, 5*time.Minute)} {
		for ext, write := range map[string]func(io.Writer) error{".svg": d.SVG, ".png": d.PNG} {
			f, err := os.Create(filepath.Join(folder, name+ext))
			if err != nil {
				t.Fatal(err)
			}
			if err := errors.Join(write(f), f.Close()); err != nil {
				t.Error(err)
			}
		}
	}
}

func BenchmarkSVG(b *testing.B) {
	d := week(7, time.Minute)
	b.ReportAllocs()
	for b.Loop() {
		if err := d.SVG(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPNG(b *testing.B) {
	d := week(7, time.Minute)
	b.ReportAllocs()
	for b.Loop() {
		if err := d.PNG(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}
