package wire

import (
	"fmt"
	"strconv"
	"time"

	"github.com/go-json-experiment/json"

	"rhizostat/policy"
	"rhizostat/policy/advice"
)

// Setpoint is what stands on `setpoint` while an advice is in force.
type Setpoint struct {
	Advice     string        `json:"advice"`
	Digest     string        `json:"digest"`
	Action     advice.Action `json:"action"`
	ValidFrom  time.Time     `json:"valid_from"`
	ValidUntil time.Time     `json:"valid_until"`
	ApprovedBy string        `json:"approved_by"`
	ApprovedAt time.Time     `json:"approved_at"`
	Setpoints  *Setpoints    `json:"setpoints"`
}

// SetpointOf gives the setpoint message of an approved advice. Anything else,
// or an advice whose content no longer has the digest that was approved, is an
// error: this is the last gate before a controller.
func SetpointOf(a *Advice) (*Setpoint, error) {
	if a.Approval.State != policy.StateApproved || a.Setpoints == nil {
		return nil, fmt.Errorf("setpoint of advice %s: its state is %q; expected approved, with setpoints", a.ID, a.Approval.State)
	}
	digest, err := a.Digest()
	if err != nil {
		return nil, err
	}
	if digest != a.Approval.Digest {
		return nil, fmt.Errorf("setpoint of advice %s: its content has digest %s, %s was approved; it is not published", a.ID, digest, a.Approval.Digest)
	}
	return &Setpoint{
		Advice: a.ID, Digest: digest, Action: a.Action,
		ValidFrom: a.ValidFrom, ValidUntil: a.ValidUntil,
		ApprovedBy: a.Approval.By, ApprovedAt: a.Approval.At, Setpoints: a.Setpoints,
	}, nil
}

// Marshal gives the published bytes.
func (s *Setpoint) Marshal() ([]byte, error) { return marshal("setpoint of advice "+s.Advice, s) }

// ParseSetpoint reads what stands on `setpoint`.
func ParseSetpoint(payload []byte) (*Setpoint, error) {
	s := new(Setpoint)
	if err := json.Unmarshal(payload, s); err != nil {
		return nil, fmt.Errorf("setpoint: %w; expected what this program publishes", err)
	}
	return s, nil
}

// PlainNames are the names of `setpoint/{name}`: one plain number each. The
// schedule and the triggers by probe have no plain topic.
var plainNames = [...]string{
	"first_shot_at", "last_shot_by", "trigger_water_content", "target_water_content",
	"shot_volume_ml", "run_time_s", "min_interval_s", "max_volume_ml", "drain_fraction",
	"valid_from", "valid_until",
}

// PlainNames returns the names of the topics `setpoint/{name}`.
func PlainNames() []string { return append([]string(nil), plainNames[:]...) }

func plainIndex(name string) int {
	for i, n := range plainNames {
		if n == name {
			return i
		}
	}
	return -1
}

// Plain gives the payload of `setpoint/{name}`, nil where the setpoints do not
// have that number (or s is nil): such a topic is cleared. Instants are seconds
// since 1970.
func (s *Setpoint) Plain(name string) []byte {
	if s == nil || s.Setpoints == nil {
		return nil
	}
	p := s.Setpoints
	switch name {
	case "first_shot_at":
		return plainInstant(p.FirstShotAt)
	case "last_shot_by":
		return plainInstant(p.LastShotBy)
	case "trigger_water_content":
		return plainFloat(p.TriggerWaterContent)
	case "target_water_content":
		if p.TargetWaterContent == 0 {
			return nil
		}
		return plainFloat(p.TargetWaterContent)
	case "shot_volume_ml":
		return plainPositive(p.ShotVolumeML)
	case "run_time_s":
		return plainPositive(p.RunTimeS)
	case "min_interval_s":
		return plainPositive(p.MinIntervalS)
	case "max_volume_ml":
		return strconv.AppendInt(nil, int64(p.MaxVolumeML), 10)
	case "drain_fraction":
		if p.DrainFraction == nil {
			return nil
		}
		return plainFloat(*p.DrainFraction)
	case "valid_from":
		return plainInstant(s.ValidFrom)
	case "valid_until":
		return plainInstant(s.ValidUntil)
	}
	return nil
}

func plainInstant(t time.Time) []byte {
	if t.IsZero() {
		return nil
	}
	return strconv.AppendInt(nil, t.Unix(), 10)
}

func plainFloat(v float64) []byte { return strconv.AppendFloat(nil, v, 'f', -1, 64) }

// plainPositive leaves out what the JSON leaves out.
func plainPositive(n int) []byte {
	if n == 0 {
		return nil
	}
	return strconv.AppendInt(nil, int64(n), 10)
}

// StandingTopicCount is how many retained topics show the approvals of a zone.
const StandingTopicCount = 2 + len(plainNames)

// StandingTopics are the retained topics that show the approvals of a zone: `advice`,
// `setpoint`, and every `setpoint/{name}`.
func StandingTopics(t Topics, zone string) []string {
	out := append(make([]string, 0, StandingTopicCount), t.Advice(zone), t.Setpoint(zone))
	for _, name := range plainNames {
		out = append(out, t.SetpointNumber(zone, name))
	}
	return out
}

// SetpointMessages gives what must stand on `setpoint` and on every
// `setpoint/{name}` of a zone; s nil clears them all. The JSON goes last when
// setpoints are put up and first when they are cleared: a reader of both never
// sees numbers of an advice that the JSON does not name.
func SetpointMessages(t Topics, zone string, s *Setpoint) ([]Message, error) {
	out := make([]Message, 0, 1+len(plainNames))
	whole := Message{Topic: t.Setpoint(zone), QoS: 1, Retain: true}
	if s != nil {
		b, err := s.Marshal()
		if err != nil {
			return nil, err
		}
		whole.Payload = b
	} else {
		out = append(out, whole)
	}
	for _, name := range plainNames {
		out = append(out, Message{Topic: t.SetpointNumber(zone, name), Payload: s.Plain(name), QoS: 1, Retain: true})
	}
	if s != nil {
		out = append(out, whole)
	}
	return out, nil
}
