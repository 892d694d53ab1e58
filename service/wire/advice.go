package wire

import (
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/policy"
	"rhizostat/policy/advice"
)

// Advice is the published advice of a zone with its approval.
type Advice struct {
	ID         string        `json:"id"`
	Site       string        `json:"site"`
	Zone       string        `json:"zone"`
	IssuedAt   time.Time     `json:"issued_at"`
	ValidFrom  time.Time     `json:"valid_from"`
	ValidUntil time.Time     `json:"valid_until"`
	Action     advice.Action `json:"action"`
	Setpoints  *Setpoints    `json:"setpoints,omitzero"` // nil for inspect
	Expected   *Expected     `json:"expected,omitzero"`
	Reasons    []Reason      `json:"reasons"`
	Confidence float64       `json:"confidence"` // 0 to 1
	Approval   Approval      `json:"approval"`
	Cautions   []string      `json:"cautions"`
}

// Setpoints are the numbers of an advice; volumes are per container. What does
// not apply is left out: a withhold has no shots and so none of their numbers.
type Setpoints struct {
	FirstShotAt         time.Time    `json:"first_shot_at,omitzero"`
	LastShotBy          time.Time    `json:"last_shot_by,omitzero"`
	TriggerWaterContent float64      `json:"trigger_water_content"`         // m3/m3
	TargetWaterContent  float64      `json:"target_water_content,omitzero"` // m3/m3
	TriggerByProbe      ProbeNumbers `json:"trigger_by_probe,omitempty"`    // m3/m3
	ShotVolumeML        int          `json:"shot_volume_ml,omitzero"`       // mL
	RunTimeS            int          `json:"run_time_s,omitzero"`           // s, left out when the flow is not known
	MinIntervalS        int          `json:"min_interval_s,omitzero"`       // s
	MaxVolumeML         int          `json:"max_volume_ml"`                 // mL a day
	DrainFraction       *float64     `json:"drain_fraction,omitzero"`       // 0 to 1
	Schedule            []Shot       `json:"schedule"`
}

// Shot is one watering of a schedule.
type Shot struct {
	At       time.Time `json:"at"`
	VolumeML int       `json:"volume_ml"`
	RunTimeS int       `json:"run_time_s,omitzero"`
}

// Expected is what the engine expects of the day.
type Expected struct {
	PeakWaterContent     float64 `json:"peak_water_content"`      // m3/m3
	TroughWaterContent   float64 `json:"trough_water_content"`    // m3/m3
	OvernightDryback     float64 `json:"overnight_dryback"`       // m3/m3
	MinAirFilledPorosity float64 `json:"min_air_filled_porosity"` // m3/m3
	SaturationS          int     `json:"saturation_s"`            // s
	UptakeML             int     `json:"uptake_ml"`               // mL
	DrainML              int     `json:"drain_ml"`                // mL
}

// Reason is a code of the catalogue and its sentence.
type Reason struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// Approval is where an advice stands with people. An inspect needs none: then
// Required is false and the rest is left out.
type Approval struct {
	Required bool                 `json:"required"`
	State    policy.ApprovalState `json:"state,omitzero"`
	DecideBy time.Time            `json:"decide_by,omitzero"`
	Digest   string               `json:"digest,omitzero"`
	By       string               `json:"by,omitzero"`    // who made the last move, if a person did
	At       time.Time            `json:"at,omitzero"`    // when the last move was made
	Note     string               `json:"note,omitzero"`  // of the decision
	Under    string               `json:"under,omitzero"` // the decision that covers it: id of the advice which that decision approved
}

// ProbeNumber is a number of one probe.
type ProbeNumber struct {
	Probe string
	Value float64
}

// ProbeNumbers is a JSON object from probe ids to numbers, sorted by id.
type ProbeNumbers []ProbeNumber

// MarshalJSONTo writes the object in the order of the slice.
func (p ProbeNumbers) MarshalJSONTo(enc *jsontext.Encoder) error {
	if err := enc.WriteToken(jsontext.BeginObject); err != nil {
		return err
	}
	for _, n := range p {
		if err := enc.WriteToken(jsontext.String(n.Probe)); err != nil {
			return err
		}
		if err := enc.WriteToken(jsontext.Float(n.Value)); err != nil {
			return err
		}
	}
	return enc.WriteToken(jsontext.EndObject)
}

// UnmarshalJSONFrom reads the object in the order that it comes in.
func (p *ProbeNumbers) UnmarshalJSONFrom(dec *jsontext.Decoder) error {
	tok, err := dec.ReadToken()
	if err != nil {
		return err
	}
	if tok.Kind() != '{' {
		return fmt.Errorf("trigger_by_probe is %s; expected an object of probe ids and numbers", tok.Kind())
	}
	*p = nil
	for dec.PeekKind() != '}' {
		name, err := dec.ReadToken()
		if err != nil {
			return err
		}
		n := ProbeNumber{Probe: name.String()}
		if err := json.UnmarshalDecode(dec, &n.Value); err != nil {
			return err
		}
		*p = append(*p, n)
	}
	_, err = dec.ReadToken()
	return err
}

// FromAdvice gives the published form of what the engine proposed: rounded,
// with its digest, pending (or with nothing to approve for an inspect). A value
// that is not a number is an error.
func FromAdvice(a *advice.Advice) (*Advice, error) {
	var c checker
	w := &Advice{
		ID: a.ID, Site: a.Site, Zone: a.Zone,
		IssuedAt: instant(a.IssuedAt), ValidFrom: instant(a.ValidFrom), ValidUntil: instant(a.ValidUntil),
		Action:     a.Action,
		Setpoints:  fromSetpoints(&c, a.Setpoints),
		Expected:   fromExpected(&c, a.Expected),
		Reasons:    make([]Reason, 0, len(a.Reasons)),
		Confidence: c.round("confidence", a.Confidence, decimalsProbability),
		Cautions:   make([]string, 0, len(a.Cautions)),
	}
	for _, r := range a.Reasons {
		w.Reasons = append(w.Reasons, Reason(r))
	}
	for _, r := range a.Cautions {
		w.Cautions = append(w.Cautions, r.Text)
	}
	if err := c.failed("advice " + a.ID); err != nil {
		return nil, err
	}
	if a.Action == advice.Inspect {
		return w, nil
	}
	digest, err := w.Digest()
	if err != nil {
		return nil, err
	}
	w.Approval = Approval{Required: true, State: policy.StatePending, DecideBy: instant(a.DecideBy), Digest: digest}
	return w, nil
}

func fromSetpoints(c *checker, s *advice.Setpoints) *Setpoints {
	if s == nil {
		return nil
	}
	w := &Setpoints{
		FirstShotAt: instant(s.FirstShotAt), LastShotBy: instant(s.LastShotBy),
		TriggerWaterContent: c.content("trigger_water_content", s.TriggerWaterContent),
		TargetWaterContent:  c.content("target_water_content", s.TargetWaterContent),
		ShotVolumeML:        s.ShotVolumeML, RunTimeS: s.RunTimeS,
		MinIntervalS: s.MinIntervalS, MaxVolumeML: s.MaxVolumeML,
		Schedule: make([]Shot, 0, len(s.Schedule)),
	}
	if !s.FirstShotAt.IsZero() {
		drain := c.content("drain_fraction", s.DrainFraction)
		w.DrainFraction = &drain
	}
	for _, t := range s.TriggerByProbe {
		w.TriggerByProbe = append(w.TriggerByProbe, ProbeNumber{t.Probe, c.content("trigger_by_probe."+t.Probe, t.WaterContent)})
	}
	for _, shot := range s.Schedule {
		w.Schedule = append(w.Schedule, Shot{instant(shot.At), shot.VolumeML, shot.RunTimeS})
	}
	return w
}

func fromExpected(c *checker, e *advice.Expected) *Expected {
	if e == nil {
		return nil
	}
	return &Expected{
		PeakWaterContent:     c.content("peak_water_content", e.PeakWaterContent),
		TroughWaterContent:   c.content("trough_water_content", e.TroughWaterContent),
		OvernightDryback:     c.content("overnight_dryback", e.OvernightDryback),
		MinAirFilledPorosity: c.content("min_air_filled_porosity", e.MinAirFilledPorosity),
		SaturationS:          e.SaturationS, UptakeML: e.UptakeML, DrainML: e.DrainML,
	}
}

// Marshal gives the published bytes.
func (a *Advice) Marshal() ([]byte, error) { return marshal("advice "+a.ID, a) }

// ParseAdvice reads a published or recorded advice.
func ParseAdvice(payload []byte) (*Advice, error) {
	a := new(Advice)
	if err := json.Unmarshal(payload, a); err != nil {
		return nil, fmt.Errorf("advice: %w; expected what this program publishes", err)
	}
	return a, nil
}

func marshal(where string, v any) ([]byte, error) {
	b, err := json.Marshal(v, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", where, err)
	}
	return b, nil
}
