package wire

import (
	"math"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protowire"
)

// SparkplugOutput is an edge node, or a device of one, that takes setpoints as
// Sparkplug B commands.
type SparkplugOutput struct {
	Group, EdgeNode string
	Device          string // "": the edge node itself takes them
	Metrics         []SparkplugSetpoint
}

// SparkplugSetpoint says which metric takes a setpoint.
type SparkplugSetpoint struct {
	Setpoint string // one of PlainNames
	Metric   string // {zone} in it stands for the zone's id
}

// Topic is where the commands go: NCMD of an edge node, DCMD of a device.
func (o *SparkplugOutput) Topic() string { return o.topic(NodeCommand, DeviceCommand).String() }

// Birth is the topic of the birth certificate of what takes the commands.
func (o *SparkplugOutput) Birth() string { return o.topic(NodeBirth, DeviceBirth).String() }

func (o *SparkplugOutput) topic(node, device SparkplugMessage) SparkplugTopic {
	t := SparkplugTopic{Group: o.Group, Message: node, EdgeNode: o.EdgeNode, Device: o.Device}
	if o.Device != "" {
		t.Message = device
	}
	return t
}

// Name is the metric that takes the setpoint of a zone.
func (s *SparkplugSetpoint) Name(zone string) string {
	return strings.ReplaceAll(s.Metric, "{zone}", zone)
}

// SetpointType is the data type of a setpoint where the birth certificate declares
// none that it fits: DateTime of an instant (ms since 1970, as Sparkplug has them,
// where `setpoint/{name}` has seconds), Int64 of a number of seconds, Double of
// volumes, water contents and fractions.
func SetpointType(setpoint string) SparkplugType {
	switch {
	case isInstant(setpoint):
		return SparkplugDateTime
	case strings.HasSuffix(setpoint, "_s"):
		return SparkplugInt64
	}
	return SparkplugDouble
}

func isInstant(setpoint string) bool {
	switch setpoint {
	case "first_shot_at", "last_shot_by", "valid_from", "valid_until":
		return true
	}
	return false
}

// Command gives the payload of the command that tells an output the setpoints of a
// zone, published at an instant; types are those that its birth certificate declares
// by metric, nil where none was seen. The numbers are those of `setpoint/{name}`, and 0
// for the shot of an advice that withholds water: its setpoints have no shot, and a
// controller that is told no more than the shot must not take that for nothing in force.
//
// Where the setpoints do not have a number, and everywhere when s is nil because
// nothing is in force, the metric is null: a command is not retained and cannot be
// cleared as a topic is, and any number in its place would be an order, a trigger of
// 0 as much as a shot of 0 mL. Null says that there is no value, and the controller
// goes back to its own programme.
func (o *SparkplugOutput) Command(zone string, s *Setpoint, types map[string]SparkplugType, at time.Time) []byte {
	ms := uint64(at.UnixMilli())
	out := appendVarint(nil, payloadTimestamp, ms)
	var metric []byte
	for i := range o.Metrics {
		m := &o.Metrics[i]
		name := m.Name(zone)
		metric = protowire.AppendTag(metric[:0], metricName, protowire.BytesType)
		metric = protowire.AppendString(metric, name)
		metric = appendVarint(metric, metricTimestamp, ms)
		metric = appendSetpoint(metric, m.Setpoint, s, types[name])
		out = protowire.AppendTag(out, payloadMetrics, protowire.BytesType)
		out = protowire.AppendBytes(out, metric)
	}
	return out
}

// appendSetpoint writes type and value of a setpoint.
func appendSetpoint(dst []byte, setpoint string, s *Setpoint, declared SparkplugType) []byte {
	plain := s.Plain(setpoint)
	if plain == nil && s.withholds() && (setpoint == "shot_volume_ml" || setpoint == "run_time_s") {
		plain = []byte("0")
	}
	if plain == nil {
		t := SetpointType(setpoint)
		if declared != 0 {
			t = declared
		}
		dst = appendVarint(dst, metricDatatype, uint64(t))
		return appendVarint(dst, metricIsNull, 1)
	}
	x, err := strconv.ParseFloat(string(plain), 64)
	if err != nil { // Plain writes numbers
		panic("wire: " + setpoint + ": " + err.Error())
	}
	if isInstant(setpoint) {
		x *= 1000
	}
	if out, ok := appendNumber(dst, declared, x); ok {
		return out
	}
	out, ok := appendNumber(dst, SetpointType(setpoint), x)
	if !ok { // what is published is a whole number of ms or s, or fits a Double
		panic("wire: " + setpoint + " of " + string(plain) + " fits no " + SetpointType(setpoint).String())
	}
	return out
}

// withholds tells whether the setpoints in force allow no water at all.
func (s *Setpoint) withholds() bool {
	return s != nil && s.Setpoints != nil && s.Setpoints.MaxVolumeML == 0
}

// appendNumber writes a number as a type; false where the type cannot hold it. A
// Float may round it. UInt32 is none: encoders disagree on its field, and who looks in
// the other one finds a 0.
func appendNumber(dst []byte, t SparkplugType, x float64) ([]byte, bool) {
	tagged := func() []byte { return appendVarint(dst, metricDatatype, uint64(t)) }
	switch t {
	case SparkplugDouble:
		out := protowire.AppendTag(tagged(), metricDouble, protowire.Fixed64Type)
		return protowire.AppendFixed64(out, math.Float64bits(x)), true
	case SparkplugFloat:
		if math.Abs(x) > 1<<24 { // more than a Float has of whole numbers: an instant
			return dst, false
		}
		out := protowire.AppendTag(tagged(), metricFloat, protowire.Fixed32Type)
		return protowire.AppendFixed32(out, math.Float32bits(float32(x))), true
	case SparkplugDateTime, SparkplugInt64, SparkplugUInt64:
		if x != math.Trunc(x) || x < 0 || x > maxNumber {
			return dst, false
		}
		return appendVarint(tagged(), metricLong, uint64(x)), true
	case SparkplugInt8, SparkplugInt16, SparkplugInt32, SparkplugUInt8, SparkplugUInt16:
		n, signed := t.bits()
		if signed {
			n--
		}
		if x != math.Trunc(x) || x < 0 || x >= float64(uint64(1)<<n) {
			return dst, false
		}
		return appendVarint(tagged(), metricInt, uint64(x)), true
	}
	return dst, false
}

// RebirthRequest gives topic and payload of the request for new birth certificates of
// an edge node and all of its devices, sent at an instant. Every edge node takes it
// (chapter 6 of the specification), and nothing moves by it but telemetry.
func RebirthRequest(group, edgeNode string, at time.Time) (topic string, payload []byte) {
	ms := uint64(at.UnixMilli())
	metric := protowire.AppendTag(nil, metricName, protowire.BytesType)
	metric = protowire.AppendString(metric, "Node Control/Rebirth")
	metric = appendVarint(metric, metricTimestamp, ms)
	metric = appendVarint(metric, metricDatatype, uint64(SparkplugBoolean))
	metric = appendVarint(metric, metricBoolean, 1)
	payload = appendVarint(nil, payloadTimestamp, ms)
	payload = protowire.AppendTag(payload, payloadMetrics, protowire.BytesType)
	payload = protowire.AppendBytes(payload, metric)
	return SparkplugTopic{Group: group, Message: NodeCommand, EdgeNode: edgeNode}.String(), payload
}

func appendVarint(dst []byte, n protowire.Number, v uint64) []byte {
	return protowire.AppendVarint(protowire.AppendTag(dst, n, protowire.VarintType), v)
}
