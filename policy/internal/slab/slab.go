// Package slab reads the measured slab telemetry that lies beside the repository
// (Hemming et al. 2020, doi:10.4121/uuid:88d22c60-21b3-4ea8-90db-20249a5be2a7,
// CC0), for tests.
package slab

import (
	"compress/gzip"
	"encoding/csv"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// Table is the telemetry of one zone, a row every 5 min.
type Table struct {
	Times []time.Time

	t      testing.TB
	column map[string]int
	rows   [][]string
}

// Read gives the telemetry of zone a, b or c; it skips the test where the data
// is not beside the repository.
func Read(t testing.TB, zone string) *Table {
	t.Helper()
	f, err := os.Open(filepath.Join(beside(t), "slab-"+zone+".csv.gz"))
	if errors.Is(err, fs.ErrNotExist) {
		t.Skipf("the measured slab telemetry is not beside the repository: %v", err)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	g, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	cells, err := csv.NewReader(g).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	table := &Table{t: t, column: map[string]int{}, rows: cells[1:]}
	for i, name := range cells[0] {
		table.column[name] = i
	}
	for _, line := range table.rows {
		at, err := time.Parse(time.RFC3339, line[0])
		if err != nil {
			t.Fatal(err)
		}
		table.Times = append(table.Times, at)
	}
	return table
}

// beside is the folder of the data beside the repository. The repository is found
// from the folder that the test runs in: a binary built with -trimpath does not
// know where its source lay.
func beside(t testing.TB) string {
	t.Helper()
	at, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		_, err := os.Stat(filepath.Join(at, "go.mod"))
		if err == nil {
			return filepath.Join(filepath.Dir(at), "shared", "data")
		}
		up := filepath.Dir(at)
		if up == at {
			t.Fatalf("no go.mod above the folder that the test runs in: %v", err)
		}
		at = up
	}
}

// Number is a cell, NaN where the zone has no such column or nothing was
// measured.
func (s *Table) Number(row int, column string) float64 {
	s.t.Helper()
	i, ok := s.column[column]
	if !ok || s.rows[row][i] == "" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(s.rows[row][i], 64)
	if err != nil {
		s.t.Fatal(err)
	}
	return v
}

// Water is the mean of both probes, m3/m3, NaN where one is missing.
func (s *Table) Water(row int) float64 {
	return (s.Number(row, "water_content_p1") + s.Number(row, "water_content_p2")) / 2
}
