package policy

import (
	"math"
	"time"

	"rhizostat/policy/sensing"
)

// A probe that is under water reads what its substrate holds at most, however high the
// water stands above it: of the container it says only that it holds at least so much. A
// drained container never is so wet there, so that probes which stay at their ceiling tell
// of water that does not leave.

const (
	// ceilingReach is how far below its ceiling a probe is taken to be at it, m3/m3: it reads
	// to 0.001 and strays by some thousandths.
	ceilingReach = 0.01
	// ceilingApart is how far a probe's ceiling must lie above what it reads in a drained
	// container, m3/m3, or being at it tells nothing: twice what calibrations err by (common
	// practice, no source).
	ceilingApart = 0.06
	// floodedAfter is how long water may stand over the probes under shots and while it
	// drains (fact of the trade: the fast part of drainage takes 10 to 15 minutes; common
	// practice, no source).
	floodedAfter = 45 * time.Minute
)

// watchFlood notes since when all probes that count stand under water. Once they do, noise
// about the ceiling does not end it.
func (z *Zone) watchFlood(at int64) {
	reach := ceilingReach
	if z.m.FloodedMs != 0 {
		reach *= 2
	}
	if _, all := z.overProbes(at, reach); !all {
		z.m.FloodedMs = 0
	} else if z.m.FloodedMs == 0 {
		z.m.FloodedMs = at
	}
}

// overProbes is the wettest mean that the probes which count can tell, m3/m3, and whether
// every one of them is within reach of its ceiling, m3/m3.
func (z *Zone) overProbes(at int64, reach float64) (least float64, all bool) {
	drained := z.ground.profile.ContainerCapacity() // what is learned here may be of a container that stands in water
	for i := range z.probes {
		p := &z.probes[i]
		// one that does not move may be ill, or where nothing moves
		if health := z.health(i, at); p.AtMs == 0 || at-p.AtMs > staleMs || !health.Usable() && health != sensing.Stuck {
			continue
		}
		if z.settings.Probes[i].Calibration.Kind == sensing.Weight {
			return 0, false // it is weighed
		}
		table := z.ground.tables[i]
		_, wettest := table.Range()
		ceiling := table.Reading(wettest)
		if p.Reading < ceiling-reach || table.Reading(drained) > ceiling-ceilingApart {
			return 0, false
		}
		least, all = max(least, wettest), true
	}
	return least, all
}

// flooded is what the container is taken to hold while its probes stand under water: in
// the middle between the wettest that they can tell and full, each of what lies between as
// likely, with the standard deviation of that, m3/m3. Not ok while they do not.
func (z *Zone) flooded(at int64) (level, sd float64, ok bool) {
	if since := z.m.FloodedMs; since == 0 || at-since < floodedAfter.Milliseconds() {
		return 0, 0, false
	}
	least, all := z.overProbes(at, 2*ceilingReach)
	if !all {
		return 0, 0, false
	}
	most := z.ground.profile.MaxMean()
	return (least + most) / 2, (most - least) / math.Sqrt(12), true
}

// waterContent is the zone's water content as it is published, with its standard
// deviation, m3/m3.
func (z *Zone) waterContent(at int64) (level, sd float64, ok bool) {
	level, sd, ok = z.m.Learned.WaterContent()
	if !ok {
		return level, sd, false
	}
	sd = math.Hypot(sd, z.m.Panel.Consensus.LevelSD())
	if over, overSD, flooded := z.flooded(at); flooded && over > level {
		return over, overSD, true
	}
	return level, sd, true
}
