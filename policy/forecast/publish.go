package forecast

import "rhizostat/policy/learning"

// Scratch is memory that Publish reuses.
type Scratch struct {
	run, dry, usual Run
	sd, values      []float64
	shots           []Shot
	way             [1]Way
}

// Publish works out the three variants of a situation of Steps24h steps into p:
// under the given shots, without water, and watered as on the last days. It
// reuses the memory of p and scratch.
func (r *Record) Publish(z *learning.Zone, c *learning.Constants, s *Situation, shots []Shot, p *Published, m *Scratch) {
	m.way[0] = Way{Weight: 1, Uptake: 1, Shots: shots}
	r.PublishWays(z, c, s, m.way[:], p, m)
}

// PublishWays is Publish where the plan may go several ways; the first is the
// likeliest.
func (r *Record) PublishWays(z *learning.Zone, c *learning.Constants, s *Situation, ways []Way, p *Published, m *Scratch) {
	r.begin()
	n := len(s.UptakeML) + 1
	m.sd, m.values = grow(m.sd, n), grow(m.values, n)
	p.IssuedAt = s.At

	for i := range ways {
		ways[i].Shots = notReported(z, s.At.UnixMilli(), ways[i].Shots)
	}
	for h, hours := range Horizons {
		p.planned[h] = plannedTo(ways, int(hours)*12)
	}
	s.Forward(nil, &m.dry)
	r.Spread(s, nil, m.sd)
	p.NoWater.fill(m.dry.WaterContent, m.sd)

	s.expect(ways, &m.run, m.values)
	r.shiftPlan(m.dry.WaterContent, m.values)
	r.Spread(s, ways[0].Shots, m.sd)
	r.stretchPlan(m.sd)
	p.Plan.fill(m.values, m.sd)

	// Yesterday at this time the same water was still to come.
	dry := *s
	dry.WaterContent = z.Shown()
	r.Usual.values(z, s.At.UnixMilli(), z.Shown(), m.values)
	m.shots = yesterday(z, c, s.At.UnixMilli(), m.shots[:0])
	dry.Forward(m.shots, &m.usual)
	p.usualAlone, p.usualBalance = grow(p.usualAlone, n), m.usual.WaterContent
	copy(p.usualAlone, m.values)
	r.Usual.leanOn(m.usual.WaterContent, m.values)
	r.usualSpread(s.WaterContentSD, m.sd)
	p.AsUsual.fill(m.values, m.sd)
}

// notReported leaves out a shot of the first step that was reported in the last
// two minutes: the situation has its water already. Reports may come a minute
// early.
func notReported(z *learning.Zone, atMs int64, shots []Shot) []Shot {
	const minute = 60_000
	if len(shots) > 0 && shots[0].Step == 0 && z.Shots.GivenML > 0 && atMs-z.Shots.ReportMs <= 2*minute {
		return shots[1:]
	}
	return shots
}
