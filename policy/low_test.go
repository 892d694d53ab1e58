package policy

import (
	"testing"

	"pgregory.net/rapid"
)

// Probes are taken to read low as far as the container seems to hold less than its
// physics makes of it, and no further than they may; never to read high.
func TestProbesMayReadLow(t *testing.T) {
	zone := func(t interface{ Fatal(...any) }) *Zone {
		z, err := New(bench())
		if err != nil {
			t.Fatal(err)
		}
		return z
	}
	rapid.Check(t, func(t *rapid.T) {
		z := zone(t)
		design, sd := z.ground.constants.DesignCapacity, rapid.Float64Range(0, 0.05).Draw(t, "sd")
		z.m.Learned.Capacity.Mean = rapid.Float64Range(0.05, 1).Draw(t, "capacity")
		z.m.Learned.Capacity.Var = sd * sd
		low, holds := z.readsLow()
		missing := holds - z.m.Learned.Capacity.Mean
		if holds != rewetted*design || low < 0 || low > z.m.Panel.Consensus.LevelSD() || missing <= 0 && low != 0 || missing > 0 && low >= missing {
			t.Fatalf("%v missing of %v: probes read low by %v, may be off by %v", missing, design, low, z.m.Panel.Consensus.LevelSD())
		}
		z.m.Learned.Capacity.Mean -= 0.01
		if lower, _ := z.readsLow(); lower < low {
			t.Fatalf("a container that holds less: %v, then %v", low, lower)
		}
		z.m.Learned.Capacity.Mean += 0.01
		z.m.Learned.Capacity.Var += 0.02 * 0.02
		if doubted, _ := z.readsLow(); doubted > low {
			t.Fatalf("a capacity that is in doubt: %v, then %v", low, doubted)
		}
		z.settings.Probes[0].Calibration.Kind = "weight"
		if weighed, _ := z.readsLow(); weighed != 0 {
			t.Fatalf("a weighed container: %v", weighed)
		}
	})
	// A lone probe may be off by 0.03, the container by as much: half of what is missing,
	// 0.04, is the probe's (by hand).
	z := zone(t)
	z.m.Learned.Capacity.Mean, z.m.Learned.Capacity.Var = rewetted*z.ground.constants.DesignCapacity-0.04, 0
	if got := z.m.Panel.Consensus.LevelSD(); got != 0.03 {
		t.Fatalf("a probe that stands alone may be off by %v", got)
	}
	if low, _ := z.readsLow(); low < 0.0199 || low > 0.0201 {
		t.Errorf("reads low by %v; expected 0.02", low)
	}
}
