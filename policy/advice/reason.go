package advice

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Kind says what a sentence of the catalogue is for.
type Kind string

// The kinds.
const (
	KindReason   Kind = "reason"   // why the plan is as it is
	KindGuard    Kind = "guard"    // what the guard did to it
	KindInspect  Kind = "inspect"  // why a person must look, and at what
	KindEvidence Kind = "evidence" // what speaks for a cause of trouble
	KindCaution  Kind = "caution"  // what to mind in any case
	KindRefusal  Kind = "refusal"  // why a decision changes nothing
	KindNotice   Kind = "notice"   // why nothing, or not all, can be approved
)

// Entry is one sentence of the catalogue. Text holds named verbs, {name:unit},
// each filled by one value; the units are those of verbs.
type Entry struct {
	Code string
	Kind Kind
	Text string
}

// Value fills one verb of a sentence. It is made by the functions below, one
// for each unit, so that a litre cannot slip in where a share belongs.
type Value struct {
	unit string
	text string
}

// Water is a water content, m3/m3, or a difference of two.
func Water(x float64) Value { return number("water", x, 3, " m3/m3") }

// Volume is mL per container.
func Volume(ml float64) Value { return number("volume", ml, 0, " mL") }

// Share is a ratio, told in percent.
func Share(x float64) Value { return number("share", 100*x, 0, " %") }

// EC is an electrical conductivity at 25 Cel, mS/cm.
func EC(x float64) Value { return number("ec", x, 1, " mS/cm") }

// Temperature is in Cel.
func Temperature(x float64) Value { return number("temperature", x, 1, " Cel") }

// Number is a plain number with two decimals at most.
func Number(x float64) Value {
	v := number("number", x, 2, "")
	if strings.Contains(v.text, ".") {
		v.text = strings.TrimRight(strings.TrimRight(v.text, "0"), ".")
	}
	return v
}

// Count is a whole number of things.
func Count(n int) Value { return Value{"count", strconv.Itoa(n)} }

// Clock is the local time of day of an instant.
func Clock(t time.Time, loc *time.Location) Value {
	return Value{"clock", t.In(loc).Format("15:04")}
}

// Date is the local day and time of an instant.
func Date(t time.Time, loc *time.Location) Value {
	return Value{"date", t.In(loc).Format("2 January 15:04")}
}

// Span is a duration in days, hours and minutes, rounded to the minute.
func Span(d time.Duration) Value {
	if d < 0 {
		d = 0
	}
	minutes := int64((d + 30*time.Second) / time.Minute)
	days, hours, minutes := minutes/1440, minutes/60%24, minutes%60
	var parts []string
	if days > 0 {
		parts = append(parts, fmt.Sprintf("%d d", days))
	}
	if hours > 0 {
		parts = append(parts, fmt.Sprintf("%d h", hours))
	}
	if minutes > 0 || len(parts) == 0 {
		parts = append(parts, fmt.Sprintf("%d min", minutes))
	}
	return Value{"span", strings.Join(parts, " ")}
}

// Name is an id, a cause or another closed word.
func Name(s string) Value { return Value{"name", s} }

func number(unit string, x float64, decimals int, suffix string) Value {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return Value{unit, "unknown"}
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-") // no minus nothing
	}
	return Value{unit, s + suffix}
}

// Say gives the sentence of a code with its verbs filled in the order in which
// they stand in the text. It panics where the code is not in the catalogue or
// the values do not fit its verbs: both are mistakes of the program.
func Say(code string, values ...Value) Reason {
	e, ok := Find(code)
	if !ok {
		panic("advice: no sentence has the code " + code)
	}
	if len(values) == 0 && !strings.Contains(e.Text, "{") {
		return Reason{Code: code, Text: e.Text} // the catalogue's own: all zones share it
	}
	var b strings.Builder
	rest, used := e.Text, 0
	for {
		verb, before, after, more := nextVerb(rest)
		b.WriteString(before)
		if !more {
			break
		}
		_, unit, _ := strings.Cut(verb, ":")
		if used >= len(values) || values[used].unit != unit {
			panic(fmt.Sprintf("advice: %s: value %d of %d does not fill {%s}", code, used+1, len(values), verb))
		}
		b.WriteString(values[used].text)
		used++
		rest = after
	}
	if used != len(values) {
		panic(fmt.Sprintf("advice: %s: %d values for %d verbs", code, len(values), used))
	}
	return Reason{Code: code, Text: b.String()}
}

// nextVerb cuts the first {verb} out of a text.
func nextVerb(s string) (verb, before, after string, ok bool) {
	before, rest, ok := strings.Cut(s, "{")
	if !ok {
		return "", s, "", false
	}
	verb, after, ok = strings.Cut(rest, "}")
	if !ok {
		panic("advice: a verb is not closed in: " + s)
	}
	return verb, before, after, true
}

// Find gives the entry of a code.
func Find(code string) (Entry, bool) {
	for i := range catalogue {
		if catalogue[i].Code == code {
			return catalogue[i], true
		}
	}
	for i := range evidence {
		if evidence[i].Code == code {
			return evidence[i], true
		}
	}
	for i := range refusals {
		if r := &refusals[i]; r.code == code {
			return Entry{r.code, KindRefusal, r.text}, true
		}
	}
	for i := range notices {
		if notices[i].Code == code {
			return notices[i], true
		}
	}
	return Entry{}, false
}

// Catalogue lists every sentence, in the order of the table: the documentation
// is made from it.
func Catalogue() []Entry {
	all := append(append([]Entry(nil), catalogue[:]...), evidence[:]...)
	for i := range refusals {
		all = append(all, Entry{refusals[i].code, KindRefusal, refusals[i].text})
	}
	return append(all, notices[:]...)
}
