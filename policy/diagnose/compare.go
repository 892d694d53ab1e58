package diagnose

import (
	"fmt"
	"math"

	"rhizostat/policy/hydraulics"
	"rhizostat/policy/learning"
)

// Choice is a substrate in a container, as a site might choose it.
type Choice struct {
	Name      string // as people know it
	Substrate hydraulics.Substrate
	Container hydraulics.Container
}

// Compared is what the physics makes of a choice.
type Compared struct {
	Name           string
	VolumeML       float64
	Capacity       float64 // container capacity, m3/m3
	AirAtCapacity  float64 // air-filled porosity at capacity, m3/m3
	SaturatedShare float64 // of the root volume at capacity
	FullPoint      float64 // m3/m3
	RefillPoint    float64 // m3/m3
	BandML         float64 // water between full and refill point
	EasyML         float64 // easily available water
	Shots          float64 // shots a day that an uptake asks for, at ShotShare of the volume
	Refills        float64 // times a day that an uptake empties the band
	Dryback        float64 // overnight, m3/m3, of what is drunk without water
	Margin20       float64 // aeration margin at the full point and 20 Cel
	Margin28       float64 // ... and 28 Cel
	Refusal        string  // why the container cannot hold the band asked for, "" when it can
}

// Use is what the choices are compared for.
type Use struct {
	Band     hydraulics.BandSpec
	Aeration hydraulics.Aeration
	UptakeML float64 // a day, per container
	DryShare float64 // part of that which is drunk between the last shot and the next first, 0 to 1
}

// NightShare is the part of a day's uptake that falls into the night where a zone's own
// has not been learned, 0 to 1, for a daytime in hours, 0 to 24: by night a crop is taken
// to drink [learning.NightRate] of what it drinks by day.
func NightShare(daytimeH float64) float64 {
	night := learning.NightRate * (24 - daytimeH)
	return night / (daytimeH + night)
}

// ShotShare is the shot that choices are compared with, over the container's volume:
// 3 %, within the 2 to 6 % that rewet without running through (common practice, no
// source).
const ShotShare = 0.03

// Compare works choices out side by side, in their order: a taller container of the
// same mix is drier and airier at capacity, a wider one holds more for longer, a
// coarser mix has more air and less water. The container's wall changes nothing of
// this: an air-pruning or fabric wall keeps roots from circling and dries from the
// side, which the physics here does not model, so that its advantage is not in the
// numbers. The error names a choice that is no container or no substrate; a band
// that a choice cannot hold is told in its Refusal.
func Compare(choices []Choice, use Use) ([]Compared, error) {
	if !(use.UptakeML > 0) || !(use.DryShare >= 0 && use.DryShare <= 1) {
		return nil, fmt.Errorf("compare: uptake %g mL a day and dry share %g; expected an uptake above 0 and a share from 0 to 1", use.UptakeML, use.DryShare)
	}
	out := make([]Compared, 0, len(choices))
	for i := range choices {
		c := &choices[i]
		p, err := hydraulics.NewProfile(c.Substrate, c.Container)
		if err != nil {
			return nil, fmt.Errorf("compare: %s: %w", c.Name, err)
		}
		out = append(out, compareOne(c.Name, p, use))
	}
	return out, nil
}

func compareOne(name string, p *hydraulics.Profile, use Use) Compared {
	capacity := p.ContainerCapacity()
	r := Compared{
		Name: name, VolumeML: p.VolumeML(), Capacity: capacity, AirAtCapacity: p.AirFilledPorosity(capacity),
		SaturatedShare: p.SaturatedShare(capacity, use.Aeration.CriticalAirFilledPorosity), EasyML: p.EasilyAvailableML(),
		Shots: use.UptakeML / (ShotShare * p.VolumeML()), Dryback: use.DryShare * use.UptakeML / p.VolumeML(),
	}
	band, err := hydraulics.NewBand(p, use.Band)
	if err != nil {
		r.Refusal = err.Error()
		r.Margin20, r.Margin28 = p.AerationMargin(capacity, 20, use.Aeration), p.AerationMargin(capacity, 28, use.Aeration)
		r.FullPoint, r.RefillPoint, r.Refills = math.NaN(), math.NaN(), math.NaN()
		return r
	}
	r.FullPoint, r.RefillPoint = band.FullPoint, band.RefillPoint
	r.BandML = band.Width() * p.VolumeML()
	r.Refills = use.UptakeML / r.BandML
	r.Margin20, r.Margin28 = p.AerationMargin(band.FullPoint, 20, use.Aeration), p.AerationMargin(band.FullPoint, 28, use.Aeration)
	return r
}
