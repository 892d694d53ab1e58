package wire

import "strings"

// Topics builds and parses the topics of one site. Ids are taken as they are:
// the site file has checked them.
type Topics struct {
	Root string // RHIZOSTAT_TOPIC_ROOT, may have levels of its own
	Site string
}

// Message is one publication. An empty Payload clears a retained topic.
type Message struct {
	Topic   string
	Payload []byte
	QoS     byte
	Retain  bool
	// Latest, of a message that is not retained, names what it says: a newer one of
	// the same name takes the place of one that waits for a connection. "": each of
	// them counts.
	Latest string
}

// Kind says what a topic of a zone carries.
type Kind string

// The kinds of topics; Setpoint with a name is one plain number.
const (
	KindAdvice         Kind = "advice"
	KindSetpoint       Kind = "setpoint"
	KindState          Kind = "state"
	KindForecast       Kind = "forecast"
	KindDecision       Kind = "decision"
	KindDecisionResult Kind = "decision/result"
	KindEvent          Kind = "event"
	KindTelemetry      Kind = "telemetry"
	KindStatus         Kind = "status" // of a site
)

// Advice is the topic of the standing advice of a zone.
func (t Topics) Advice(zone string) string { return t.of(zone, KindAdvice) }

// Setpoint is the topic of the setpoints in force.
func (t Topics) Setpoint(zone string) string { return t.of(zone, KindSetpoint) }

// SetpointNumber is the topic of one plain number of the setpoints in force.
func (t Topics) SetpointNumber(zone, name string) string {
	return t.of(zone, KindSetpoint) + "/" + name
}

// State is the topic of what the engine believes of a zone.
func (t Topics) State(zone string) string { return t.of(zone, KindState) }

// Forecast is the topic of the next 24 h.
func (t Topics) Forecast(zone string) string { return t.of(zone, KindForecast) }

// Decision is the topic on which people decide.
func (t Topics) Decision(zone string) string { return t.of(zone, KindDecision) }

// DecisionResult is the topic that answers a decision.
func (t Topics) DecisionResult(zone string) string { return t.of(zone, KindDecisionResult) }

// Event is the topic on which people say what they did.
func (t Topics) Event(zone string) string { return t.of(zone, KindEvent) }

// Telemetry is the topic of one probe of a zone, or of `zone` or `climate`.
func (t Topics) Telemetry(zone, probe string) string {
	return t.of(zone, KindTelemetry) + "/" + probe
}

// Status is the topic of the site's own status.
func (t Topics) Status() string { return t.Root + "/" + t.Site + "/" + string(KindStatus) }

func (t Topics) of(zone string, kind Kind) string {
	return t.Root + "/" + t.Site + "/" + zone + "/" + string(kind)
}

// Place is where a topic belongs: the parts that Parse found.
type Place struct {
	Site, Zone string // Zone is empty for KindStatus
	Kind       Kind
	Name       string // probe of KindTelemetry; name of a plain number of KindSetpoint
}

// Parse splits a topic under root into its parts; false when it is not one of
// the native topics.
func Parse(root, topic string) (Place, bool) {
	rest, ok := strings.CutPrefix(topic, root+"/")
	if !ok {
		return Place{}, false
	}
	site, rest, ok := strings.Cut(rest, "/")
	if !ok || !IsID(site) {
		return Place{}, false
	}
	if rest == string(KindStatus) {
		return Place{Site: site, Kind: KindStatus}, true
	}
	zone, rest, ok := strings.Cut(rest, "/")
	if !ok || !IsID(zone) {
		return Place{}, false
	}
	p := Place{Site: site, Zone: zone}
	switch kind := Kind(rest); kind {
	case KindAdvice, KindSetpoint, KindState, KindForecast, KindDecision, KindDecisionResult, KindEvent:
		p.Kind = kind
		return p, true
	}
	if name, ok := strings.CutPrefix(rest, string(KindTelemetry)+"/"); ok && IsID(name) {
		p.Kind, p.Name = KindTelemetry, name
		return p, true
	}
	if name, ok := strings.CutPrefix(rest, string(KindSetpoint)+"/"); ok && plainIndex(name) >= 0 {
		p.Kind, p.Name = KindSetpoint, name
		return p, true
	}
	return Place{}, false
}

// maxID is the longest id of a site, zone or probe, bytes.
const maxID = 64

// IsID tells whether s may be the id of a site, a zone or a probe:
// [a-z0-9][a-z0-9._-]{0,63}.
func IsID(s string) bool {
	if s == "" || len(s) > maxID {
		return false
	}
	for i := range len(s) {
		c := s[i]
		switch {
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
		case i > 0 && (c == '.' || c == '_' || c == '-'):
		default:
			return false
		}
	}
	return true
}
