package service

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// What mosquitto_sub -F %j and %J print, by version: the forms are mosquitto
// 2.0's and 2.1's, the topics and numbers are invented.
func TestRecordedLines(t *testing.T) {
	at := time.Date(2026, 5, 4, 6, 5, 0, 123456000, time.UTC)
	for _, c := range []struct {
		what, line, payload string
		stamp               time.Time
	}{
		{"Debian 12: a Z before the offset, retain 0",
			`{"tst":"2026-05-04T06:05:00.123456Z+0000","topic":"a/b","qos":0,"retain":0,"payloadlen":4,"payload":"0.52"}`, "0.52", at},
		{"Debian 12 in local time: the offset is the real one",
			`{"tst":"2026-05-04T08:05:00.123456Z+0200","topic":"a/b","qos":1,"retain":0,"payloadlen":4,"mid":7,"payload":"0.52"}`, "0.52", at},
		{"newer: no Z, retain false",
			`{"tst":"2026-05-04T06:05:00.123456+0000","topic":"a/b","qos":0,"retain":false,"payloadlen":4,"payload":"0.52"}`, "0.52", at},
		{"RFC 3339", `{"tst":"2026-05-04T06:05:00.123456Z","topic":"a/b","payload":"0.52"}`, "0.52", at},
		{"RFC 3339 with an offset", `{"tst":"2026-05-04T04:05:00.123456-02:00","topic":"a/b","payload":"0.52"}`, "0.52", at},
		{"no time at all", `{"topic":"a/b","payload":"0.52"}`, "0.52", time.Time{}},
		{"%J: inline JSON", `{"topic":"a/b","payload":{"water_content": 0.52}}`, `{"water_content": 0.52}`, time.Time{}},
		{"%J: a number", `{"topic":"a/b","payload":0.52}`, `0.52`, time.Time{}},
		{"an empty payload as null", `{"topic":"a/b","payloadlen":0,"payload":null}`, "", time.Time{}},
		{"an empty payload as text", `{"topic":"a/b","payloadlen":0,"payload":""}`, "", time.Time{}},
		{"no payload", `{"topic":"a/b"}`, "", time.Time{}},
		{"retained", `{"topic":"a/b","retain":1,"payload":"0.52"}`, "0.52", time.Time{}},
		{"newer: retained", `{"topic":"a/b","retain":true,"payload":"0.52"}`, "0.52", time.Time{}},
		{"MQTT 5 properties", `{"topic":"a/b","properties":{"content-type":"text"},"payload":"0.52"}`, "0.52", time.Time{}},
		{"%x: a binary payload", `{"tst":"2026-05-04T06:05:00+0000","topic":"a/b","qos":0,"retain":0,"payloadlen":4,"payload":"08e80700"}`, "\x08\xe8\x07\x00", time.Date(2026, 5, 4, 6, 5, 0, 0, time.UTC)},
		{"%X: in capitals", `{"topic":"a/b","payloadlen":2,"payload":"FFAB"}`, "\xff\xab", time.Time{}},
		{"twice as long and no digits", `{"topic":"a/b","payloadlen":2,"payload":"0x5g"}`, "0x5g", time.Time{}},
		{"escapes", `{"topic":"a/b","payloadlen":9,"payload":"{\"a\":\"\u00fc\"}"}`, `{"a":"ü"}`, time.Time{}},
	} {
		got, err := parseRecorded([]byte(c.line))
		if err != nil || got.Topic != "a/b" || string(got.Payload) != c.payload || !got.Stamp.Equal(c.stamp) || got.Retained != strings.HasSuffix(c.what, "retained") {
			t.Errorf("%s: %+v, payload %q, %v; want payload %q at %s", c.what, got, got.Payload, err, c.payload, c.stamp)
		}
	}
}

func TestRecordedLinesThatCannotBe(t *testing.T) {
	for _, c := range []struct{ what, line, says string }{
		{"cut at a zero byte", `{"topic":"a/b","payloadlen":12,"payload":"0.5"}`, "cut when it was recorded"},
		{"what to do about that", `{"topic":"a/b","payloadlen":12,"payload":"0.5"}`, "%x"},
		{"torn", `{"topic":"a/b","payl`, "mosquitto_sub -F %j"},
		{"no topic", `{"tst":"2026-05-04T06:05:00Z","payload":"1"}`, "the topic is missing"},
		{"a time that is none", `{"tst":"this morning","topic":"a/b","payload":"1"}`, "this morning"},
		{"a topic twice", `{"topic":"a/b","topic":"c/d","payload":"1"}`, "not a recorded message"},
		{"a list", `["a/b","1"]`, "not a recorded message"},
		{"a plain line", `a/b 0.52`, "not a recorded message"},
	} {
		if got, err := parseRecorded([]byte(c.line)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %+v, %v; want an error that says %q", c.what, got, err, c.says)
		}
	}
}

// A line that is no message is told by its number and skipped; empty ones count
// as lines and are nothing.
func TestRecordingGoesOnAfterABadLine(t *testing.T) {
	r := newRecordingReader(strings.NewReader("\n{\"topic\":\"a\"}\r\n  \nnonsense\n{\"topic\":\"b\"}"))
	var said []string
	for {
		rec, err := r.next()
		var bad *LineError
		switch {
		case errors.Is(err, io.EOF):
			if got := strings.Join(said, " "); got != "a:2 bad:4 b:5" {
				t.Errorf("read %s", got)
			}
			return
		case errors.As(err, &bad):
			said = append(said, "bad:4")
			if bad.Line != 4 || !strings.HasPrefix(bad.Error(), "line 4: ") {
				t.Errorf("%v", bad)
			}
		case err != nil:
			t.Fatal(err)
		default:
			said = append(said, rec.Topic+":"+string(rune('0'+rec.Line)))
		}
	}
}

func TestRecordingRefusesEndlessLines(t *testing.T) {
	r := newRecordingReader(io.MultiReader(strings.NewReader("{\"topic\":\"a\"}\n"), bytes.NewReader(bytes.Repeat([]byte("x"), maxLine+1))))
	if _, err := r.next(); err != nil {
		t.Fatal(err)
	}
	if _, err := r.next(); err == nil || !strings.Contains(err.Error(), "line 2") || errors.As(err, new(*LineError)) {
		t.Errorf("an endless line: %v", err)
	}
}

// What is written is read back the same.
func TestRecordedRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := time.UnixMicro(rapid.Int64Range(0, 4e15).Draw(t, "at")).UTC()
		topic := rapid.StringN(1, 40, 200).Draw(t, "topic")
		payload := []byte(rapid.String().Draw(t, "payload"))
		line, err := appendRecorded(nil, at, topic, payload, 1, rapid.Bool().Draw(t, "retain"))
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Count(line, []byte("\n")) != 1 || line[len(line)-1] != '\n' {
			t.Fatalf("not one line: %q", line)
		}
		got, err := parseRecorded(bytes.TrimSpace(line))
		if err != nil || got.Topic != topic || !bytes.Equal(got.Payload, payload) || !got.Stamp.Equal(at) {
			t.Fatalf("%q came back as %+v, %v", line, got, err)
		}
	})
}

// A payload that is no text is written as digits and read back as it was; text of
// digits stays text.
func TestBinaryPayloads(t *testing.T) {
	for _, c := range []struct{ payload, written string }{
		{"\xff\xfe", `"payloadlen":2,"payload":"fffe"`}, {"\x08\x00ab", `"payloadlen":4,"payload":"08006162"`},
		{"0800", `"payloadlen":4,"payload":"0800"`}, {"12", `"payloadlen":2,"payload":"12"`}, {"a\tb\r\n", `"payloadlen":5,"payload":"a\tb\r\n"`},
	} {
		line, err := appendRecorded(nil, morning, "a/b", []byte(c.payload), 0, false)
		if err != nil || !strings.Contains(string(line), c.written) {
			t.Errorf("%q became %s, %v; want %s", c.payload, line, err, c.written)
			continue
		}
		if got, err := parseRecorded(bytes.TrimSpace(line)); err != nil || string(got.Payload) != c.payload {
			t.Errorf("%s came back as %q, %v", line, got.Payload, err)
		}
	}
}

func FuzzParseRecorded(f *testing.F) {
	for _, line := range []string{
		`{"tst":"2026-05-04T06:05:00.123456Z+0000","topic":"a/b","qos":0,"retain":0,"payloadlen":4,"payload":"0.52"}`,
		`{"topic":"a/b","payload":{"water_content":0.52}}`, `{"topic":"a/b","payload":null}`, `{"topic":"a","payload":"\ud800"}`, `null`, `{}`,
	} {
		f.Add([]byte(line))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		rec, err := parseRecorded(line)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("an error of more than one line: %q", err)
			}
			return
		}
		if rec.Topic == "" {
			t.Errorf("%q has no topic and was taken", line)
		}
		again, err := appendRecorded(nil, rec.Stamp, rec.Topic, rec.Payload, 0, false)
		if err != nil {
			return // bytes that are no text are not written
		}
		if back, err := parseRecorded(bytes.TrimSpace(again)); err != nil && !rec.Stamp.IsZero() || err == nil && !bytes.Equal(back.Payload, rec.Payload) {
			t.Errorf("%q was read as %+v, written as %q and read as %+v, %v", line, rec, again, back, err)
		}
	})
}
