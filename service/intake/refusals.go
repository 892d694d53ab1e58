package intake

import (
	"errors"
	"strings"
)

// Reason says why a message, a signal or a reading was not taken. It is the same
// in the log and in the metric's label.
type Reason string

// The reasons that intake itself finds.
const (
	Empty           Reason = "empty"
	TooLarge        Reason = "too-large"
	NotJSON         Reason = "not-json"
	Malformed       Reason = "malformed"
	WrongVersion    Reason = "wrong-version"
	MustUnderstand  Reason = "must-understand"
	UnknownTopic    Reason = "unknown-topic"
	UnknownSite     Reason = "unknown-site"
	UnknownZone     Reason = "unknown-zone"
	UnknownClimate  Reason = "unknown-climate"
	UnknownProbe    Reason = "unknown-probe"
	UnknownSignal   Reason = "unknown-signal"
	WrongSource     Reason = "wrong-source"
	UnknownUnit     Reason = "unknown-unit"
	NotANumber      Reason = "not-a-number"
	NotATime        Reason = "not-a-time"
	ImpossibleValue Reason = "impossible-value"
	Retained        Reason = "retained"
)

// The reasons of Sparkplug B.
const (
	NotSparkplug Reason = "not-sparkplug"
	Unborn       Reason = "unborn"
	SequenceGap  Reason = "sequence-gap"
	OldDeath     Reason = "old-death"
	NullValue    Reason = "null-value"
	BadQuality   Reason = "bad-quality"
	NotAnEvent   Reason = "not-an-event"
)

// Truncated is the reason of a recording that lacks a part of a message.
const Truncated Reason = "truncated"

// The reasons that are found of an event when it meets its zone's settings; an
// unknown probe is above.
const (
	UnknownContainer Reason = "unknown-container"
	UnknownSubstrate Reason = "unknown-substrate"
)

// The reasons that are found later, when a reading meets its zone's clock and
// queue.
const (
	Late          Reason = "late"
	Doubled       Reason = "doubled"
	FromTheFuture Reason = "from-the-future"
	ClockWrong    Reason = "clock-wrong"
	QueueFull     Reason = "queue-full"
	OldContainer  Reason = "old-container"
)

// ReasonDescription is a row of the table of reasons.
type ReasonDescription struct {
	Reason   Reason
	What     string // what is wrong
	Expected string // what was expected
	Do       string // what to do
}

// Reasons is the closed set, in the order of a message's way.
var Reasons = []ReasonDescription{
	{Empty, "the message carries no reading", "at least one signal with a value", "look at what the device sends"},
	{TooLarge, "the message is larger than 256 KiB, a birth certificate's than 512 KiB, or a person's than 16 KiB", "a smaller one", "send the readings in several messages"},
	{NotJSON, "the payload is not JSON", "JSON as RFC 8259 defines it, in UTF-8", "look at what the device sends"},
	{Malformed, "the payload is JSON of another shape", "a SenML pack (RFC 8428) or one flat object of signals, each name once", "look at what the device sends, or map the topic in the site file"},
	{WrongVersion, "the SenML pack is of a version that this program does not know", "bver up to 10, or 26", "set the device to SenML version 10"},
	{MustUnderstand, "the SenML pack has a label that must be understood and is not", "labels of RFC 8428; others may stand beside them unless they end in _", "look at what the device sends"},
	{UnknownTopic, "the topic is none that a site file names", "a native topic or one under telemetry in the site file", "add a mapping, or unsubscribe the device"},
	{UnknownSite, "the topic names a site that no site file has", "a site of the site files", "correct the topic or add the site"},
	{UnknownZone, "the topic names a zone that its site does not have", "a zone of the site file", "correct the topic or add the zone"},
	{UnknownClimate, "the topic names a climate that its site does not have", "a climate of the site file", "correct the topic or add the climate"},
	{UnknownProbe, "the topic or the event names a probe that its zone does not have", "a probe of the zone in the site file, or zone", "correct the name or add the probe"},
	{UnknownSignal, "the name is none of the signals", "one of the signals, such as water_content", "rename it at the device, or map the topic in the site file"},
	{WrongSource, "the signal does not belong to this kind of source", "probe signals under a probe, irrigation, drain and valve under zone, air and light under a climate", "send it on the topic of its source"},
	{UnknownUnit, "the unit is none that the signal may come in", "a unit of the table of units", "correct the unit at the device or in the site file"},
	{NotANumber, "the value is not a number", "a number, or true and false for valve_open", "look at what the device sends"},
	{NotATime, "the time cannot be read", "an instant between 1970 and 9999: RFC 3339, or a number in the unit of the site file", "correct the device or the time's unit in the site file"},
	{ImpossibleValue, "the value is physically impossible for the signal", "a value inside the signal's limits", "check the unit first (a SenML % is a ratio, 1 = whole), then the instrument"},
	{Retained, "the message was kept by the broker, so when it was measured is not known", "telemetry that is not retained; on a foreign topic, a time of its own and no volume of one event", "publish it without the retain flag"},
	{Truncated, "the recording holds the beginning of the message alone", "as many bytes as payloadlen says", "mosquitto_sub -F %j stops at a zero byte: record binary payloads with %x"},
	{NotSparkplug, "the payload is not Sparkplug B, or breaks its rules", "a payload as Eclipse Sparkplug 3.0 has it", "look at what the edge node sends"},
	{Unborn, "nobody has said what the metric is: the birth certificate was not seen", "NBIRTH and DBIRTH before data", "nothing where it is a moment's: the edge node is asked for its birth certificates; else let this program write its NCMD topic"},
	{SequenceGap, "messages of the edge node are missing before this one, which was taken", "sequence numbers without a gap", "look at the network, and at the broker's bound on what waits; the edge node is asked for its birth certificates"},
	{OldDeath, "the death certificate is of an earlier connection of the edge node", "the bdSeq of its newest birth certificate", "nothing: the edge node lives"},
	{NullValue, "the metric is null", "a value", "look at the instrument where it lasts"},
	{BadQuality, "the metric's quality is not good", "no property Quality, or 192", "look at the instrument or at what the edge node reads it through"},
	{NotAnEvent, "the volume of one event stands in a birth certificate, which says what is and not what happens", "it in data, when it is given; or a running total", "map irrigation_total or drain_total where the edge node has one"},
	{UnknownContainer, "the event names a container that the site does not have", "a container of the site file", "correct the name or add the container"},
	{UnknownSubstrate, "the event names a substrate that the site does not have", "a substrate of the site file, or a built-in one", "correct the name or add the substrate"},
	{Late, "the reading or the watering by hand is older than its zone can still take", "readings at most 15 min late, waterings by hand at most 24 h", "look at the network and at the device's clock"},
	{Doubled, "the reading has been taken already", "each reading once", "nothing where delivery is at least once"},
	{FromTheFuture, "the reading is stamped ahead of its zone's time", "a stamp near the zone's time", "set the device's clock"},
	{ClockWrong, "the reading's source has a clock that is wrong", "stamps that agree with the other sources", "set the device's clock"},
	{OldContainer, "the reading was taken before the roots got the container they stand in now, and came after that was told", "readings of the container that was told last", "nothing where it came late; else correct the time of the event"},
	{QueueFull, "the zone's queue was full and its oldest reading made room", "fewer messages than can be worked off", "look for a device that floods"},
}

// Refusal says what was not taken of one message. It is the error of Decode.
type Refusal struct {
	Reason  Reason
	Partial bool   // the rest of the message was taken
	Topic   string // as received
	Where   string // the signal or field, "" for the whole message
	Value   string // what stands there, shortened; "" where nothing does
}

// Error says where, what is wrong with the value, what was expected and what to
// do.
func (r *Refusal) Error() string {
	var b strings.Builder
	b.WriteString(r.Topic)
	b.WriteString(": ")
	if r.Where != "" {
		b.WriteString(r.Where)
		b.WriteString(": ")
	}
	d := r.Reason.description()
	b.WriteString(d.What)
	if r.Value != "" {
		b.WriteString(" (")
		b.WriteString(r.Value)
		b.WriteString(")")
	}
	b.WriteString("; expected ")
	b.WriteString(d.Expected)
	b.WriteString("; ")
	b.WriteString(d.Do)
	return b.String()
}

func (r Reason) description() ReasonDescription {
	for _, d := range Reasons {
		if d.Reason == r {
			return d
		}
	}
	panic("intake: reason " + string(r) + " is not in the table of reasons")
}

// The results of a message, as the metric names them.
const (
	Accepted = "accepted" // all of it
	Partial  = "partial"  // some of its signals; reason tells of the first that was not
	Refused  = "refused"
)

// Outcome gives the labels result and reason for what Decode returned.
func Outcome(err error) (result string, reason Reason) {
	var r *Refusal
	switch {
	case err == nil:
		return Accepted, ""
	case !errors.As(err, &r):
		return Refused, Malformed
	case r.Partial:
		return Partial, r.Reason
	}
	return Refused, r.Reason
}

// maxShown is how much of a refused value is shown, bytes.
const maxShown = 40

// shown copies the beginning of what was refused.
func shown(b []byte) string {
	if len(b) <= maxShown {
		return strings.ToValidUTF8(string(b), "?")
	}
	return strings.ToValidUTF8(string(b[:maxShown]), "?") + "..."
}
