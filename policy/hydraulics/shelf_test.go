package hydraulics

import (
	"math"
	"testing"
)

func TestShelfSharesAndRefuses(t *testing.T) {
	var s Shelf
	a, errA := s.Profile(coirMix, pot7L)
	b, errB := s.Profile(coirMix, pot7L)
	if errA != nil || errB != nil || a != b {
		t.Fatalf("two profiles of one kind: %p %v, %p %v", a, errA, b, errB)
	}
	taller := pot7L
	taller.HeightCM++
	if c, err := s.Profile(coirMix, taller); err != nil || c == a || c.ContainerCapacity() >= a.ContainerCapacity() {
		t.Errorf("a taller container: %v, %v", c, err)
	}
	p, errP := s.Probe(a, 7, 5)
	q, errQ := s.Probe(b, 7, 5)
	if errP != nil || errQ != nil || p != q {
		t.Errorf("two probes at one place: %p %v, %p %v", p, errP, q, errQ)
	}
	if r, err := s.Probe(a, 8, 5); err != nil || r == p {
		t.Errorf("a probe elsewhere: %p, %v", r, err)
	}
	bad := coirMix
	bad.Retention.N = math.NaN()
	for range 2 {
		if _, err := s.Profile(bad, pot7L); err == nil {
			t.Error("a refused substrate came back")
		}
		if _, err := s.Probe(a, 99, 0); err == nil {
			t.Error("a probe outside came back")
		}
	}
}

// TestShelfAbove: what the one below has is handed out, what it has not is kept above.
func TestShelfAbove(t *testing.T) {
	var below Shelf
	a, err := below.Profile(coirMix, pot7L)
	if err != nil {
		t.Fatal(err)
	}
	p, err := below.Probe(a, 7, 5)
	if err != nil {
		t.Fatal(err)
	}
	s := below.Above()
	b, errB := s.Profile(coirMix, pot7L)
	q, errQ := s.Probe(a, 7, 5)
	if errB != nil || errQ != nil || a != b || p != q {
		t.Errorf("above: %p %v, %p %v; expected those below, %p and %p", b, errB, q, errQ, a, p)
	}
	taller := pot7L
	taller.HeightCM++
	for range 2 {
		if _, err := s.Profile(coirMix, taller); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Probe(a, 8, 5); err != nil {
			t.Fatal(err)
		}
	}
	if len(below.profiles) != 1 || len(below.probes) != 1 || len(s.profiles) != 1 || len(s.probes) != 1 {
		t.Errorf("%d and %d are kept below, %d and %d above; expected one of each", len(below.profiles), len(below.probes), len(s.profiles), len(s.probes))
	}
}

// TestShelfIsBounded: it does not grow past its room, and still answers.
func TestShelfIsBounded(t *testing.T) {
	var s Shelf
	p, err := s.Profile(coirMix, pot7L)
	if err != nil {
		t.Fatal(err)
	}
	s.probes = map[position]*ProbeTable{}
	for i := range shelfRoom {
		s.probes[position{p, float64(-1 - i), 0}] = nil // places no probe can have
	}
	if _, err := s.Probe(p, 7, 0); err != nil || len(s.probes) != shelfRoom {
		t.Errorf("%d kept, %v", len(s.probes), err)
	}
}

func BenchmarkShelf(b *testing.B) {
	var s Shelf
	b.ReportAllocs()
	for b.Loop() {
		p, err := s.Profile(coirMix, pot7L)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := s.Probe(p, 7, 0); err != nil {
			b.Fatal(err)
		}
	}
}
