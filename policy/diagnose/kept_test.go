package diagnose

import (
	"math"
	"testing"
)

// Six days keep what they are given; on the seventh nothing of it is found. In a zone at
// its usual water content the valve did not open. In one far below it the substrate
// repels water, and nobody is accused.
func TestDrySubstrateAccusesNoValve(t *testing.T) {
	for _, dry := range []bool{false, true} {
		k, b := &KeptWatch{}, &Belief{}
		in := &Inputs{WaterContent: 0.5, VolumeML: 5000}
		in.Water.Reports = true
		in.Learned = Learned{Capacity: 0.6, Noise: 0.001}
		at := start
		for day := range 7 {
			for hour := range 24 {
				at += hourMs
				if hour == 12 {
					in.Water.ReportedML += 300
					in.Water.LastMs, in.Water.LastShotMs = at, at
					if day < 6 {
						in.WaterContent += 300 / in.VolumeML
					}
				}
				if hour == 23 && day < 6 {
					in.WaterContent = 0.5
					k.begin(in, at)
				}
				k.look(in, at, &Baselines{}, b, dry && day == 6)
			}
		}
		accused := b.LogOdds[ValveStuckClosed] > 1
		if accused == dry {
			t.Errorf("dry %t: log odds of the valve %.1f of %d stretches", dry, b.LogOdds[ValveStuckClosed], k.Windows)
		}
	}
}

// stretches is what a zone usually keeps, of six stretches that kept usual of what they
// were given.
func stretches(usual float64) *KeptWatch {
	k, b := &KeptWatch{}, &Belief{}
	for range 6 {
		k.take(usual, 2, 0.3, 0.03, 500, Gauge{}, reported(), b)
	}
	return k
}

func reported() *Inputs {
	in := &Inputs{VolumeML: 5000}
	in.Water.Reports = true
	return in
}

// A container that has room for half of what it is given keeps half. When it keeps
// nothing, nothing came: behind a blocked emitter, or where water runs past, what still
// comes finds room and is kept.
func TestWhatAFullContainerKeeps(t *testing.T) {
	for _, c := range []struct {
		kept        float64
		more, fewer Cause
	}{{0, ValveStuckClosed, EmitterFault}, {0.3, EmitterFault, ValveStuckClosed}} {
		k, b := stretches(0.9), &Belief{}
		k.take(c.kept, 0.5, 0.3, 0.03, 500, Gauge{}, reported(), b)
		if b.LogOdds[c.more] < b.LogOdds[c.fewer]+0.5 {
			t.Errorf("keeps %.1f with room for 0.5: log odds of %v %.1f, of %v %.1f", c.kept, c.more, b.LogOdds[c.more], c.fewer, b.LogOdds[c.fewer])
		}
	}
}

// What a full container is given beside its shots runs out and cannot be found in it, so
// that keeping as much as ever does not acquit a valve that leaks.
func TestAFullContainerDoesNotAcquitALeak(t *testing.T) {
	for _, room := range []float64{0.95, 2} {
		k, b := stretches(0.9), &Belief{}
		k.take(math.Min(0.9, room), room, 0.3, 0.03, 500, Gauge{}, reported(), b)
		if says := b.LogOdds[ValveStuckOpen] < 0; says != (room > 1) {
			t.Errorf("room for %.2f of what was given: log odds of a leak %.2f", room, b.LogOdds[ValveStuckOpen])
		}
	}
}

// A valve that is closed is not acquitted by uptake that was taken for larger than it
// is: only water that lifts the zone has come through it.
func TestUptakeAcquitsNoValve(t *testing.T) {
	m, at := known()
	in := inputs()
	in.Water.ReportedML, in.Water.TotalML = 24*60, 24*60
	m.Belief.LogOdds[ValveStuckClosed] = 2
	in.Learned.Uptake5ML, in.ProbeCount = 8, 1 // an eighth of which it is
	for look := range 14 {
		at += 5 * 60_000
		in.WaterContent -= 1 / in.VolumeML
		if look%12 == 5 {
			in.Water.TotalML, in.Water.ReportedML = in.Water.TotalML+60, in.Water.ReportedML+60
			in.Water.LastMs, in.Water.LastShotMs = at, at
		}
		in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent + 0.0003*float64(look%3), AtMs: at}
		m.Look(in, at)
	}
	if got := m.Belief.LogOdds[ValveStuckClosed]; got < 0 {
		t.Errorf("log odds of a closed valve 2 -> %.1f of shots that do not lift the zone", got)
	}
}

// Substrate in its band takes water, however far below the usual it is: a shot of which
// nothing shows says there what it says anywhere. Below the band it may repel it.
func TestLostShotsInTheBandCount(t *testing.T) {
	s := &ShotTest{Zone: 0.45, From: 0.55, FromVar: 0.0001, Usual: [3]Answer{{Windows: 20}}}
	in := &Inputs{RefillPoint: 0.4}
	inBand, part := s.weight(true, in, start), s.weight(false, in, start)
	in.RefillPoint = 0.5
	if below := s.weight(true, in, start); inBand != part || below >= 0.6*inBand {
		t.Errorf("weight of a lost shot %.2f in the band, %.2f below it, of one of which a part is missing %.2f", inBand, below, part)
	}
}

// What is dry is so by what this zone's probes show: where they read low, the band lies as
// much lower. In the band nothing is dry, however fast the zone has fallen from its usual.
func TestDry(t *testing.T) {
	for _, c := range []struct {
		name         string
		refill       float64
		capacity, sd float64 // as it is known; the physics say 0.6
		usual, from  float64 // where shots begin usually, and now
		dry          bool
	}{
		{"in the band", 0.45, 0.6, 0.004, 0.5, 0.5, false},
		{"in the band, far below the usual", 0.4, 0.6, 0.004, 0.55, 0.42, false},
		{"below the band, where shots usually begin", 0.45, 0.6, 0.004, 0.44, 0.43, false},
		{"below the band and the usual", 0.45, 0.6, 0.004, 0.52, 0.44, true},
		{"well below the band", 0.45, 0.6, 0.004, 0.52, 0.4, true},
		{"below the band, by probes that read low", 0.45, 0.48, 0.004, 0.44, 0.4, false},
		{"well below the band, by probes that may read low", 0.45, 0.48, 0.02, 0.44, 0.4, true},
		{"well below the band, though probes read low", 0.45, 0.48, 0.004, 0.4, 0.3, true},
	} {
		s := &ShotTest{From: float32(c.usual), FromVar: 0.0001, Seen: 50}
		in := &Inputs{RefillPoint: c.refill, DesignCapacity: 0.6, Learned: Learned{Capacity: c.capacity, CapacitySD: c.sd}}
		if got := s.dry(in, c.from); got != c.dry {
			t.Errorf("%s: dry %v", c.name, got)
		}
	}
}

// A zone whose probes read far below what the physics make of its container lies below its
// band all day; a valve that closes is told there as anywhere.
func TestLostShotsAreToldWhereProbesReadLow(t *testing.T) {
	m, at := &Memory{}, start
	in := inputs()
	in.FullPoint, in.RefillPoint, in.DesignCapacity = 0.7, 0.62, 0.72
	in.Learned.CapacitySD = 0.004
	at = water(m, in, at, 3*24, 0.8)
	if c, _, _, wrong := m.Leading(); wrong {
		t.Fatalf("%s while all is well", c)
	}
	at = water(m, in, at, 6, 0)
	leads(t, m, at, ValveStuckClosed, "shots-lost")
}

// A stretch that began in dry substrate acquits the valve of the water that is stored at its
// end, and accuses nothing for what is missing.
func TestWhatDrySubstrateStoresHasCome(t *testing.T) {
	for _, stored := range []float64{-0.1, 0.1, 0.8} {
		k, b, in, at := stretches(0.9), &Belief{}, reported(), start
		b.LogOdds[ValveStuckClosed] = 5
		in.WaterContent, in.Learned.Capacity = 0.3, 0.6
		k.look(in, at, &Baselines{}, b, true)
		in.Water.ReportedML, in.WaterContent = 500, 0.3+stored*500/in.VolumeML
		k.look(in, at+5*hourMs, &Baselines{}, b, true)
		if got := b.LogOdds[ValveStuckClosed]; (got < 4) != (stored > 0.5) || got > 5 {
			t.Errorf("%.1f of the water is stored: log odds of a closed valve 5 -> %.1f", stored, got)
		}
		if got := b.LogOdds[EmitterFault]; got > 0 {
			t.Errorf("%.1f of the water is stored: log odds of a blocked emitter 0 -> %.1f", stored, got)
		}
	}
}

// What a full container keeps is told by its room, and says nothing of what it would keep if it
// had more: one that was given six times what it drinks, of which a sixth stayed, is short of
// water when it has room for half and a sixth stays. Where water stood, nobody knows its room.
func TestWhatStaysForWantOfRoomIsNoMeasure(t *testing.T) {
	for _, c := range []struct {
		kept, room float64
		stood      float32 // log odds of standing water
		accused    bool
	}{{0.17, 0.17, 0, false}, {0.17, 0.5, 0, true}, {0.17, 0.5, 4, false}, {0.5, 0.5, 0, false}} {
		k, b, in := &KeptWatch{}, &Belief{}, reported()
		in.Learned.Capture = 0.9
		for range 20 {
			k.take(0.17, 0.17, 0.17, 0.03, 500, Gauge{}, in, b)
		}
		*b = Belief{}
		b.LogOdds[Oversaturation] = c.stood
		for range 4 {
			k.take(c.kept, c.room, 0.17, 0.03, 500, Gauge{}, in, b)
		}
		if got := b.LogOdds[ValveStuckClosed]; (got > 2) != c.accused {
			t.Errorf("keeps %.2f with room for %.2f, log odds %.0f of standing water: of a closed valve %.1f", c.kept, c.room, c.stood, got)
		}
	}
}
