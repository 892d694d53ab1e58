package service

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"strconv"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/service/intake"
)

// maxLine bounds one line of a recording: a message is at most 1 MiB, and JSON
// may need six bytes for one.
const maxLine = 8 << 20

// recorded is one line of a recording, as `mosquitto_sub -F %j` prints it.
type recorded struct {
	Stamp    time.Time // zero when the line has none
	Topic    string
	Payload  []byte
	Retained bool   // the broker had it from before, and gave it to whoever came
	Raw      []byte // the line itself, without its end
	Line     int
}

// LineError is a line of a recording that cannot be read.
type LineError struct {
	Line   int
	reason lineReason
	err    error
}

// counted is the reason of intake that the line is counted by.
func (e *LineError) counted() intake.Reason {
	if e.reason == cutPayload {
		return intake.Truncated
	}
	return intake.Malformed
}

// lineReason is why a line of a recording is skipped.
type lineReason string

// The reasons.
const (
	notAMessage lineReason = "not-a-message"
	noTopic     lineReason = "no-topic"
	noTime      lineReason = "not-a-time"
	badRetain   lineReason = "retain-unknown"
	badPayload  lineReason = "payload-unreadable"
	cutPayload  lineReason = "payload-cut"
	retained    lineReason = "retained"
	unknownZone lineReason = "unknown-zone"
)

func (e *LineError) Error() string { return fmt.Sprintf("line %d: %v", e.Line, e.err) }

func (e *LineError) Unwrap() error { return e.err }

// recordingReader reads a recording line by line.
type recordingReader struct {
	scanner *bufio.Scanner
	line    int
}

func newRecordingReader(r io.Reader) *recordingReader {
	s := bufio.NewScanner(r)
	s.Buffer(make([]byte, 64<<10), maxLine)
	return &recordingReader{scanner: s}
}

// next gives the next line that is not empty; io.EOF at the end. After a
// LineError reading can go on; the line's topic is there if it could be told.
func (r *recordingReader) next() (recorded, error) {
	for r.scanner.Scan() {
		r.line++
		raw := bytes.TrimSpace(r.scanner.Bytes())
		if len(raw) == 0 {
			continue
		}
		rec, reason, err := readRecorded(raw)
		rec.Line, rec.Raw = r.line, raw
		if err != nil {
			rec.Topic = topicOf(raw)
			return rec, &LineError{r.line, reason, err}
		}
		return rec, nil
	}
	if err := r.scanner.Err(); err != nil {
		return recorded{}, fmt.Errorf("line %d: %w; expected lines of at most %d MiB", r.line+1, err, maxLine>>20)
	}
	return recorded{}, io.EOF
}

// topicOf finds the topic of a line whose other members may be anything; "" where
// there is none.
func topicOf(raw []byte) string {
	dec := jsontext.NewDecoder(bytes.NewReader(raw), jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))
	if t, err := dec.ReadToken(); err != nil || t.Kind() != '{' {
		return ""
	}
	for dec.PeekKind() == '"' {
		name, err := dec.ReadToken()
		if err != nil {
			return ""
		}
		if name.String() == "topic" && dec.PeekKind() == '"' {
			t, err := dec.ReadToken()
			if err != nil {
				return ""
			}
			return t.String()
		}
		if dec.SkipValue() != nil {
			return ""
		}
	}
	return ""
}

// parseRecorded reads one line. The payload is a string, as %j prints it, or
// inline JSON, as %J does; null and "" are an empty payload. mosquitto_sub ends a
// payload at a zero byte in both, so binary ones, as of Sparkplug B, are recorded as
// hexadecimal digits, which %x prints: a payload that is twice as long as payloadlen
// says, and all such digits, is read so.
func parseRecorded(raw []byte) (recorded, error) {
	rec, _, err := readRecorded(raw)
	return rec, err
}

// readRecorded is parseRecorded with the reason of an error.
func readRecorded(raw []byte) (recorded, lineReason, error) {
	var in struct {
		Tst        string         `json:"tst"`
		Topic      string         `json:"topic"`
		Retain     jsontext.Value `json:"retain"`
		Payload    jsontext.Value `json:"payload"`
		PayloadLen *int           `json:"payloadlen"`
	}
	if err := json.Unmarshal(raw, &in, jsontext.AllowDuplicateNames(false)); err != nil {
		return recorded{}, notAMessage, fmt.Errorf(`not a recorded message (%w); expected {"tst","topic","qos","retain","payloadlen","payload"} as mosquitto_sub -F %%j prints it`, err)
	}
	if in.Topic == "" {
		return recorded{}, noTopic, fmt.Errorf("the topic is missing; expected a message as mosquitto_sub -F %%j prints it")
	}
	rec := recorded{Topic: in.Topic}
	if in.Tst != "" {
		stamp, err := parseStamp(in.Tst)
		if err != nil {
			return rec, noTime, err
		}
		rec.Stamp = stamp
	}
	switch string(in.Retain) { // newer recorders write true and false
	case "", "null", "0", "false":
	case "1", "true":
		rec.Retained = true
	default:
		return rec, badRetain, fmt.Errorf("retain is %.20s; expected 0 or 1", in.Retain)
	}
	switch in.Payload.Kind() {
	case 0, 'n':
	case '"':
		text, err := jsontext.AppendUnquote(nil, in.Payload)
		if err != nil {
			return rec, badPayload, fmt.Errorf("payload: %w", err)
		}
		rec.Payload = text
		switch {
		case in.PayloadLen == nil || len(text) == *in.PayloadLen:
		case len(text) < *in.PayloadLen: // the recorder stops at a zero byte
			return rec, cutPayload, fmt.Errorf("payload has %d bytes where payloadlen says %d: it was cut when it was recorded; record binary payloads as digits, which mosquitto_sub prints for %%x", len(text), *in.PayloadLen)
		case len(text) == 2**in.PayloadLen:
			if raw, err := hex.DecodeString(string(text)); err == nil {
				rec.Payload = raw
			}
		}
	default:
		rec.Payload = in.Payload
	}
	return rec, "", nil
}

// stampLayouts are the ways in which a recorder writes the time: Debian 12's
// mosquitto_sub puts a Z before the offset, newer ones do not.
var stampLayouts = []string{"2006-01-02T15:04:05.999999999Z-0700", "2006-01-02T15:04:05.999999999-0700", time.RFC3339Nano}

func parseStamp(s string) (time.Time, error) {
	for _, layout := range stampLayouts {
		if t, err := time.Parse(layout, s); err == nil {
			return t.UTC(), nil
		}
	}
	return time.Time{}, fmt.Errorf("tst %.40q is not a time; expected like 2026-05-04T06:05:00.000000Z+0000 or RFC 3339", s)
}

// appendRecorded writes a message as a line of a recording; a payload that is no text
// as hexadecimal digits, as it is read.
func appendRecorded(dst []byte, at time.Time, topic string, payload []byte, qos byte, retain bool) ([]byte, error) {
	dst = append(dst, `{"tst":"`...)
	dst = at.UTC().AppendFormat(dst, "2006-01-02T15:04:05.000000Z-0700")
	dst = append(dst, `","topic":`...)
	dst, err := jsontext.AppendQuote(dst, topic)
	if err != nil {
		return nil, fmt.Errorf("topic %q: %w", topic, err)
	}
	dst = append(dst, `,"qos":`...)
	dst = strconv.AppendUint(dst, uint64(qos), 10)
	dst = append(dst, `,"retain":`...)
	if retain {
		dst = append(dst, '1')
	} else {
		dst = append(dst, '0')
	}
	dst = append(dst, `,"payloadlen":`...)
	dst = strconv.AppendInt(dst, int64(len(payload)), 10)
	dst = append(dst, `,"payload":`...)
	if len(payload) == 0 {
		return append(dst, "null}\n"...), nil
	}
	if isBinary(payload) {
		dst = append(dst, '"')
		dst = hex.AppendEncode(dst, payload)
		return append(dst, "\"}\n"...), nil
	}
	if dst, err = jsontext.AppendQuote(dst, payload); err != nil {
		return nil, fmt.Errorf("%s: %w", topic, err)
	}
	return append(dst, "}\n"...), nil
}

// isBinary tells whether a payload is no text: no JSON, no number, no word has control
// characters but white space in it.
func isBinary(payload []byte) bool {
	return !utf8.Valid(payload) || bytes.ContainsFunc(payload, func(r rune) bool {
		return r < ' ' && r != '\t' && r != '\n' && r != '\r'
	})
}
