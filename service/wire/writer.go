package wire

import (
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/policy"
	"rhizostat/policy/advice"
)

// writer appends one JSON object; it exists because state is published for
// every zone every minute. Separators are put by looking at the last byte.
type writer struct {
	checker
	b []byte
}

func (w *writer) comma() {
	switch w.b[len(w.b)-1] {
	case '{', '[', ':':
	default:
		w.b = append(w.b, ',')
	}
}

// key writes a member name of ours, which needs no escaping.
func (w *writer) key(name string) {
	w.comma()
	w.b = append(w.b, '"')
	w.b = append(w.b, name...)
	w.b = append(w.b, '"', ':')
}

func (w *writer) open(name string, c byte) {
	w.key(name)
	w.b = append(w.b, c)
}

func (w *writer) close(c byte) { w.b = append(w.b, c) }

// value writes a string; invalid UTF-8 becomes the replacement character.
func (w *writer) value(s string) {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c == '"' || c == '\\' || c >= 0x80 {
			// The error is only about invalid UTF-8, which has been replaced.
			w.b, _ = jsontext.AppendQuote(w.b, s)
			return
		}
	}
	w.b = append(w.b, '"')
	w.b = append(w.b, s...)
	w.b = append(w.b, '"')
}

func (w *writer) text(name, s string) {
	w.key(name)
	w.value(s)
}

func (w *writer) bool(name string, v bool) {
	w.key(name)
	if v {
		w.b = append(w.b, "true"...)
		return
	}
	w.b = append(w.b, "false"...)
}

func (w *writer) number(name string, v float64, decimals int) {
	w.key(name)
	w.b = w.appendDecimal(w.b, name, v, decimals)
}

func (w *writer) time(name string, t time.Time) {
	w.key(name)
	w.b = appendInstant(w.b, t)
}

func (w *writer) reason(code, text string) {
	w.b = append(w.b, '{')
	w.text("code", code)
	w.text("text", text)
	w.b = append(w.b, '}')
}

// AppendState appends the published state of a zone to dst. NotApprovable says
// why no advice can be approved now, nil when it can; leftOut what a damaged ledger
// does not tell any more, nil when it tells all. Values are rounded; one that is not a
// number is an error, and dst is then returned as it was.
func AppendState(dst []byte, site, zone string, s *policy.State, notApprovable, leftOut *advice.Reason) ([]byte, error) {
	w := writer{b: append(dst, '{')}
	w.text("site", site)
	w.text("zone", zone)
	w.time("time", s.Time)
	if s.Known {
		w.water(s)
		w.day(s)
	}
	w.stability(s)
	w.diagnosis(s.Diagnosis)
	w.data(s)
	if notApprovable != nil {
		w.key("not_approvable")
		w.reason(notApprovable.Code, notApprovable.Text)
	}
	if leftOut != nil {
		w.key("left_out")
		w.reason(leftOut.Code, leftOut.Text)
	}
	w.close('}')
	if w.err != nil {
		return dst, w.failed("state of " + site + "/" + zone)
	}
	return w.b, nil
}

// water writes what the container holds now.
func (w *writer) water(s *policy.State) {
	w.number("water_content", s.WaterContent, decimalsContent)
	w.number("water_content_sd", s.WaterContentSD, decimalsContent)
	w.number("air_filled_porosity", s.AirFilledPorosity, decimalsContent)
	w.number("available_water_ml", s.AvailableWaterML, 0)
	w.bool("saturated", s.Saturated)
	w.number("saturated_share", s.SaturatedShare, decimalsContent)
	w.number("saturation_s_24h", s.SaturationS24h, 0)
	w.number("aeration_margin", s.AerationMargin, decimalsContent)
	w.open("band", '{')
	w.number("full_point", s.FullPoint, decimalsContent)
	w.number("refill_point", s.RefillPoint, decimalsContent)
	w.text("position", s.Position)
	w.close('}')
}

// day writes how the day has gone and the learned capacity.
func (w *writer) day(s *policy.State) {
	w.text("part_of_day", s.PartOfDay)
	w.open("dryback", '{')
	w.number("running", s.RunningDryback, decimalsContent)
	w.number("last_depth", s.LastDryback, decimalsContent)
	w.number("last_share", s.LastDrybackShare, decimalsContent)
	w.number("overnight_depth", s.OvernightDryback, decimalsContent)
	w.close('}')
	w.number("uptake_ml_24h", s.UptakeML24h, 0)
	w.number("irrigation_ml_24h", s.IrrigationML24h, 0)
	w.number("drain_ml_24h", s.DrainML24h, 0)
	w.number("drain_fraction_24h", s.DrainFraction24h, decimalsContent)
	if s.PoreEC != nil {
		w.number("pore_ec", *s.PoreEC, decimalsEC)
	}
	if s.SubstrateTemp != nil {
		w.number("substrate_temperature", *s.SubstrateTemp, decimalsTemperature)
	}
	w.open("container_capacity", '{')
	w.number("design", s.DesignCapacity, decimalsContent)
	w.number("apparent", s.ApparentCapacity, decimalsContent)
	w.close('}')
}

func (w *writer) stability(s *policy.State) {
	w.open("stability", '{')
	w.number("index", s.StabilityIndex, decimalsProbability)
	w.bool("recovering", s.Recovering)
	w.close('}')
}

func (w *writer) diagnosis(findings []policy.Finding) {
	w.open("diagnosis", '[')
	for i := range findings {
		f := &findings[i]
		w.comma()
		w.b = append(w.b, '{')
		w.text("cause", f.Cause)
		w.number("probability", f.Probability, decimalsProbability)
		w.time("since", f.Since)
		w.open("evidence", '[')
		for _, r := range f.Evidence {
			w.comma()
			w.reason(r.Code, r.Text)
		}
		w.close(']')
		w.text("look_at", f.LookAt)
		w.close('}')
	}
	w.close(']')
}

func (w *writer) data(s *policy.State) {
	w.open("data", '{')
	w.bool("quorum", s.Quorum)
	w.open("probes", '{')
	for i := range s.Probes {
		p := &s.Probes[i]
		w.comma()
		w.value(p.ID)
		w.b = append(w.b, ':', '{')
		w.text("health", p.Health)
		if p.Seen {
			w.number("age_s", p.AgeS, 0)
			w.number("water_content", p.WaterContent, decimalsContent)
		}
		w.close('}')
	}
	w.close('}')
	w.close('}')
}
