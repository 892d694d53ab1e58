package sensing

import (
	"compress/gzip"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"strconv"
	"testing"
	"time"
)

// The recordings are five-minute readings of growing slabs in three glasshouse
// zones, 97 days: Hemming et al. (2020), Autonomous Greenhouse Challenge, Second
// Edition, 4TU.ResearchData, CC0. They are not part of the repository.
const recordings = "../../../shared/data/"

type row struct {
	atMs     int64
	wc       [2]float64
	has      [2]bool
	watered  bool // zone a: the valve was open in the five minutes
	mL       float64
	poreEC   [2]float64
	rowInCSV int
}

func readRecording(t testing.TB, name string) []row {
	t.Helper()
	file, err := os.Open(recordings + name + ".csv.gz")
	if errors.Is(err, os.ErrNotExist) {
		t.Skipf("the recording %s is not beside the repository (shared/data); the synthetic tests still run", name)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	unzipped, err := gzip.NewReader(file)
	if err != nil {
		t.Fatal(err)
	}
	in := csv.NewReader(unzipped)
	header, err := in.Read()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, h := range header {
		column[h] = i
	}
	var rows []row
	for line := 2; ; line++ {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			return rows
		}
		if err != nil {
			t.Fatal(err)
		}
		at, err := time.Parse(time.RFC3339, cells[0])
		if err != nil {
			t.Fatalf("%s line %d: %v", name, line, err)
		}
		r := row{atMs: at.UnixMilli(), rowInCSV: line}
		for p, key := range []string{"water_content_p1", "water_content_p2"} {
			r.wc[p], r.has[p] = cell(t, cells[column[key]])
		}
		if i, ok := column["valve_open_min"]; ok {
			minutes, has := cell(t, cells[i])
			r.watered = has && minutes > 0
		}
		rows = append(rows, r)
	}
}

func cell(t testing.TB, s string) (float64, bool) {
	t.Helper()
	if s == "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v, true
}
