package wire

import "strings"

// Sparkplug B is what Eclipse Sparkplug 3.0 (ISO/IEC 20237) defines: topics of a
// namespace of their own and Protocol Buffers on them. This file has its topics and
// types, sparkplugpayload.go what is read, sparkplugcommand.go what is sent.
//
// This program is no Host Application of that specification. It publishes no STATE
// and reads none: an edge node that waits for a primary host waits for the
// facility's, and goes on buffering when that one is away whether or not we are
// there. It reads what edge nodes say, sends the commands that a site file asks for,
// and the one request that every edge node must grant, for new birth certificates.

// sparkplugNamespace is the first level of every topic of Sparkplug B.
const sparkplugNamespace = "spBv1.0"

// SparkplugMessage is the type of a message, a level of its topic.
type SparkplugMessage string

// The types of messages; those with D are a device's.
const (
	NodeBirth     SparkplugMessage = "NBIRTH"
	NodeData      SparkplugMessage = "NDATA"
	NodeDeath     SparkplugMessage = "NDEATH"
	NodeCommand   SparkplugMessage = "NCMD"
	DeviceBirth   SparkplugMessage = "DBIRTH"
	DeviceData    SparkplugMessage = "DDATA"
	DeviceDeath   SparkplugMessage = "DDEATH"
	DeviceCommand SparkplugMessage = "DCMD"
	HostState     SparkplugMessage = "STATE"
)

// ofDevice tells whether the topic of a type names a device; ok is false for what is
// no type of an edge node's message.
func (m SparkplugMessage) ofDevice() (device, ok bool) {
	switch m {
	case NodeBirth, NodeData, NodeDeath, NodeCommand:
		return false, true
	case DeviceBirth, DeviceData, DeviceDeath, DeviceCommand:
		return true, true
	}
	return false, false
}

// SparkplugTopic is a topic of Sparkplug B in its parts.
type SparkplugTopic struct {
	Group    string
	Message  SparkplugMessage
	EdgeNode string
	Device   string // "" of an edge node's own message
	Host     string // of HostState, which has none of the others
}

// String gives the topic.
func (t SparkplugTopic) String() string {
	if t.Message == HostState {
		return sparkplugNamespace + "/" + string(t.Message) + "/" + t.Host
	}
	node := sparkplugNamespace + "/" + t.Group + "/" + string(t.Message) + "/" + t.EdgeNode
	if t.Device == "" {
		return node
	}
	return node + "/" + t.Device
}

// ParseSparkplugTopic splits a topic of Sparkplug B (chapter 4 of the
// specification): a device stands in the messages that are a device's and in no
// others. False for any other topic.
func ParseSparkplugTopic(topic string) (t SparkplugTopic, ok bool) {
	rest, ok := strings.CutPrefix(topic, sparkplugNamespace+"/")
	if !ok {
		return t, false
	}
	t.Group, rest, ok = strings.Cut(rest, "/")
	if !ok {
		return t, false
	}
	if t.Group == string(HostState) && IsSparkplugID(rest) {
		return SparkplugTopic{Message: HostState, Host: rest}, true
	}
	message, rest, ok := strings.Cut(rest, "/")
	if !ok {
		return t, false
	}
	t.Message = SparkplugMessage(message)
	device, ok := t.Message.ofDevice()
	if !ok {
		return t, false
	}
	named := false
	t.EdgeNode, t.Device, named = strings.Cut(rest, "/")
	ok = named == device && IsSparkplugID(t.Group) && IsSparkplugID(t.EdgeNode) && (!device || IsSparkplugID(t.Device))
	return t, ok
}

// IsSparkplug tells whether a topic lies in the namespace of Sparkplug B, well
// formed or not.
func IsSparkplug(topic string) bool {
	return topic == sparkplugNamespace || strings.HasPrefix(topic, sparkplugNamespace+"/")
}

// IsSparkplugID tells whether s may be the id of a group, an edge node or a device:
// any text but the characters that mean something in a topic filter.
func IsSparkplugID(s string) bool { return s != "" && !strings.ContainsAny(s, "+#/\x00") }

// SparkplugType is a data type, by its index in chapter 6 of the specification.
type SparkplugType uint32

// The types that can hold a number, an instant or a text; 0 is none told.
const (
	SparkplugInt8     SparkplugType = 1
	SparkplugInt16    SparkplugType = 2
	SparkplugInt32    SparkplugType = 3
	SparkplugInt64    SparkplugType = 4
	SparkplugUInt8    SparkplugType = 5
	SparkplugUInt16   SparkplugType = 6
	SparkplugUInt32   SparkplugType = 7
	SparkplugUInt64   SparkplugType = 8
	SparkplugFloat    SparkplugType = 9
	SparkplugDouble   SparkplugType = 10
	SparkplugBoolean  SparkplugType = 11
	SparkplugString   SparkplugType = 12
	SparkplugDateTime SparkplugType = 13
	SparkplugText     SparkplugType = 14
)

var sparkplugTypes = [...]string{
	"Unknown", "Int8", "Int16", "Int32", "Int64", "UInt8", "UInt16", "UInt32", "UInt64", "Float", "Double", "Boolean", "String", "DateTime", "Text",
	"UUID", "DataSet", "Bytes", "File", "Template", "PropertySet", "PropertySetList", "Int8Array", "Int16Array", "Int32Array", "Int64Array",
	"UInt8Array", "UInt16Array", "UInt32Array", "UInt64Array", "FloatArray", "DoubleArray", "BooleanArray", "StringArray", "DateTimeArray",
}

// String names the type as the specification does.
func (t SparkplugType) String() string {
	if int(t) < len(sparkplugTypes) {
		return sparkplugTypes[t]
	}
	return sparkplugTypes[0]
}

// bits is the width of an integer type, 0 of any other; signed says that its
// numbers are two's complement.
func (t SparkplugType) bits() (n int, signed bool) {
	switch t {
	case SparkplugInt8:
		return 8, true
	case SparkplugInt16:
		return 16, true
	case SparkplugInt32:
		return 32, true
	case SparkplugInt64:
		return 64, true
	case SparkplugUInt8:
		return 8, false
	case SparkplugUInt16:
		return 16, false
	case SparkplugUInt32:
		return 32, false
	case SparkplugUInt64:
		return 64, false
	}
	return 0, false
}

// The qualities of a metric, values of its property Quality.
const (
	SparkplugBad   = 0
	SparkplugGood  = 192
	SparkplugStale = 500
)

// SparkplugBirthSequence is the name of the metric that tells which connection of an
// edge node a birth or a death certificate belongs to.
const SparkplugBirthSequence = "bdSeq"

// NextSparkplugSequence is the sequence number after one: 0 to 255, then 0 again, one
// count over all messages of an edge node and of its devices.
func NextSparkplugSequence(seq uint64) uint64 { return (seq + 1) & 0xff }
