package simulator

import "time"

// Setpoints are what stands approved on a controller's setpoint topic.
type Setpoints struct {
	Withhold                bool // no water until ValidUntil or the trigger
	ValidFrom, ValidUntil   time.Time
	FirstShotAt, LastShotBy time.Time
	Trigger, Target         float64 // water content, m3/m3
	ProbeTriggers           []ProbeTrigger
	ShotVolumeML            float64
	MinInterval             time.Duration
	MaxVolumeML             float64
	Schedule                []Shot // in time order
}

// ProbeTrigger is the trigger as a controller's own probe reads it.
type ProbeTrigger struct {
	Probe        string
	WaterContent float64
}

// Shot is one watering of a schedule.
type Shot struct {
	At       time.Time
	VolumeML float64
}

// Timer is a controller's own programme: Count shots of VolumeML, the first
// Start after local midnight, Every apart. Offset is local time less UTC.
type Timer struct {
	Start, Every, Offset time.Duration
	Count                int
	VolumeML             float64
}

// Controller waters a zone: by setpoints while some are in force, and else by
// its own programme.
type Controller struct {
	ByClock   bool   // runs the schedule; else it waits for the trigger
	OwnProbe  string // compares this probe with its own trigger; "" for the zone's state
	Timer     Timer
	DailyML   float64 // its own hard limit per day, 0 for none
	Setpoints *Setpoints

	quietUntil  time.Time // of setpoints that newer ones replaced
	stateAt     time.Time
	state       float64
	probeAt     time.Time
	probe       float64
	rewetDone   time.Time // first shot of the day whose rewet is over
	ended       time.Time // validity of a withholding whose trigger came
	lastShot    time.Time
	lastPlanned time.Time // of the schedule
	lastTimer   time.Time
	given       [96]Shot // a ring
	at          int
}

// How late a controller still gives a planned shot, and how old a state may be
// to act on.
const (
	lateShot = 10 * time.Minute
	oldState = time.Hour
)

// Put replaces the setpoints; nil clears them.
func (c *Controller) Put(s *Setpoints, now time.Time) {
	if old := c.Setpoints; old != nil && s != nil && old.ValidUntil.After(now) && !old.ValidFrom.After(now) {
		c.quietUntil = old.ValidUntil
	}
	c.Setpoints = s
}

// Hear takes the zone's published water content.
func (c *Controller) Hear(at time.Time, waterContent float64) { c.stateAt, c.state = at, waterContent }

// HearProbe takes a reading of the controller's own probe.
func (c *Controller) HearProbe(at time.Time, reading float64) { c.probeAt, c.probe = at, reading }

// Due gives the shot to give now, mL, 0 for none. Ask once a minute.
func (c *Controller) Due(now time.Time) float64 {
	v := c.wanted(now)
	if c.DailyML > 0 {
		v = min(v, c.DailyML-c.since(now.Add(-24*time.Hour)))
	}
	if v <= 0 {
		return 0
	}
	c.lastShot = now
	c.given[c.at%len(c.given)] = Shot{now, v}
	c.at++
	return v
}

func (c *Controller) wanted(now time.Time) float64 {
	s := c.Setpoints
	if s == nil || !now.Before(s.ValidUntil) {
		return c.programme(now)
	}
	if now.Before(s.ValidFrom) {
		if now.Before(c.quietUntil) {
			return 0
		}
		return c.programme(now)
	}
	if s.Withhold {
		if c.fresh(now) && c.state <= s.Trigger {
			c.ended = s.ValidUntil
		}
		if c.ended.Equal(s.ValidUntil) {
			return c.programme(now)
		}
		return 0
	}
	if c.ByClock {
		return c.planned(s, now)
	}
	return c.triggered(s, now)
}

// planned gives the shots of the schedule, dropping late ones.
func (c *Controller) planned(s *Setpoints, now time.Time) float64 {
	for _, shot := range s.Schedule {
		if shot.At.After(now) {
			break
		}
		if !shot.At.After(c.lastPlanned) || now.Sub(shot.At) > lateShot {
			continue
		}
		c.lastPlanned = shot.At
		return shot.VolumeML
	}
	return 0
}

// triggered gives shots to the target at first and at the trigger after.
func (c *Controller) triggered(s *Setpoints, now time.Time) float64 {
	if now.Before(s.FirstShotAt) || now.After(s.LastShotBy) || !c.fresh(now) {
		return 0
	}
	if c.state >= s.Target {
		c.rewetDone = s.FirstShotAt
	}
	left := s.MaxVolumeML - c.since(s.ValidFrom)
	if left < s.ShotVolumeML-0.5 || now.Sub(c.lastShot) < s.MinInterval {
		return 0
	}
	rewet := !c.rewetDone.Equal(s.FirstShotAt)
	if rewet || c.below(s, now) {
		return s.ShotVolumeML
	}
	return 0
}

// below reports whether the zone has come down to the trigger.
func (c *Controller) below(s *Setpoints, now time.Time) bool {
	if c.OwnProbe != "" && now.Sub(c.probeAt) <= oldState {
		for _, t := range s.ProbeTriggers {
			if t.Probe == c.OwnProbe {
				return c.probe <= t.WaterContent
			}
		}
	}
	return c.state <= s.Trigger
}

func (c *Controller) fresh(now time.Time) bool {
	return !c.stateAt.IsZero() && now.Sub(c.stateAt) <= oldState
}

// programme is the controller's own.
func (c *Controller) programme(now time.Time) float64 {
	local := now.Add(c.Timer.Offset)
	midnight := local.Truncate(24 * time.Hour)
	for i := range c.Timer.Count {
		at := midnight.Add(c.Timer.Start + time.Duration(i)*c.Timer.Every)
		if at.After(local) {
			break
		}
		if local.Sub(at) < time.Minute && at.After(c.lastTimer) {
			c.lastTimer = at
			return c.Timer.VolumeML
		}
	}
	return 0
}

// since is the volume given since a time, mL.
func (c *Controller) since(from time.Time) float64 {
	sum := 0.0
	for _, g := range c.given {
		if !g.At.IsZero() && !g.At.Before(from) {
			sum += g.VolumeML
		}
	}
	return sum
}
