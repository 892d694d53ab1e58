package ledger

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"

	"rhizostat/policy/sensing"
)

// Probe is what one probe of a zone read by the moment of a point.
type Probe struct {
	ID           string
	WaterContent float64 // m3/m3, its last accepted
	AgeS         int     // s since then
	Health       string  // as published
	Seen         bool    // false: it has not reported yet, and the two numbers say nothing
}

// healths are the states of health by their number in the file: new ones are
// added at the end.
var healths = [...]string{
	sensing.OK.String(), sensing.Stale.String(), sensing.Stuck.String(), sensing.OutOfRange.String(),
	sensing.Jumping.String(), sensing.Drifting.String(), sensing.Disagreeing.String(), sensing.ClockWrong.String(),
}

// healthBits is how many bits of a probe's second number hold its health.
const healthBits = 4

// maxAgeS bounds the age in the file: a probe that has been silent for longer was
// told of at an earlier point.
const maxAgeS = 1 << 20

// appendProbes writes what the probes read, two numbers each: the water content
// in 0.0001 m3/m3 and one more (0 for one that was never seen), then age and
// health. That is 4 bytes for a probe that reports every few minutes.
func appendProbes(dst []byte, probes []Probe) ([]byte, error) {
	for i := range probes {
		p := &probes[i]
		health := slices.Index(healths[:], p.Health)
		if health < 0 {
			return nil, fmt.Errorf("probe %s is %q; expected one of %v", p.ID, p.Health, healths)
		}
		value := uint64(0)
		if p.Seen {
			v, err := inContentUnits(p.WaterContent)
			if err != nil {
				return nil, fmt.Errorf("probe %s: %w", p.ID, err)
			}
			value = 1 + uint64(max(0, v))
		}
		dst = binary.AppendUvarint(dst, value)
		dst = binary.AppendUvarint(dst, uint64(min(max(p.AgeS, 0), maxAgeS))<<healthBits|uint64(health))
	}
	return dst, nil
}

// probesOf reads what appendProbes wrote.
func probesOf(ids, blob []byte) ([]Probe, error) {
	var probes []Probe
	r := varints{rest: blob}
	for id := range strings.SplitSeq(string(ids), " ") {
		value, second := r.unsigned(), r.unsigned()
		health := second & (1<<healthBits - 1)
		if r.short || health >= uint64(len(healths)) || value > math.MaxInt32 || second>>healthBits > maxAgeS {
			return nil, fmt.Errorf("what the probes %s read (%x) is not whole", ids, blob)
		}
		p := Probe{ID: id, Health: healths[health], AgeS: int(second >> healthBits)}
		if value > 0 {
			p.Seen, p.WaterContent = true, float64(value-1)/contentScale
		}
		probes = append(probes, p)
	}
	if len(r.rest) > 0 {
		return nil, fmt.Errorf("what the probes %s read (%x) is of more probes", ids, blob)
	}
	return probes, nil
}

// idsOf are the ids of the probes as they lie in probe_sets.
func idsOf(probes []Probe) string {
	ids := make([]string, len(probes))
	for i := range probes {
		ids[i] = probes[i].ID
	}
	return strings.Join(ids, " ")
}

// inContentUnits gives a water content in the unit of its columns, 0.0001 m3/m3.
func inContentUnits(v float64) (int64, error) {
	if !(math.Abs(v) < math.MaxInt32/contentScale) { // also NaN
		return 0, fmt.Errorf("the water content is %v; expected a finite number", v)
	}
	return int64(math.Round(v * contentScale)), nil
}

// varints reads numbers of varying length one after the other.
type varints struct {
	rest  []byte
	short bool // there were fewer
}

func (r *varints) unsigned() uint64 {
	v, n := binary.Uvarint(r.rest)
	r.skip(n)
	return v
}

func (r *varints) signed() int64 {
	v, n := binary.Varint(r.rest)
	r.skip(n)
	return v
}

// skip goes on behind a number of n bytes; none, or less than none, is no number.
func (r *varints) skip(n int) {
	if n <= 0 {
		r.short = true
		return
	}
	r.rest = r.rest[n:]
}
