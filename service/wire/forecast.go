package wire

import (
	"fmt"
	"strconv"
	"time"

	"github.com/go-json-experiment/json"

	"rhizostat/policy"
)

// forecastStep is the step of a published forecast, s.
const forecastStep = 300

// Forecast is `forecast` as a reader sees it.
type Forecast struct {
	Site     string    `json:"site"`
	Zone     string    `json:"zone"`
	IssuedAt time.Time `json:"issued_at"`
	StepS    int       `json:"step_s"`
	Level    float64   `json:"level"` // share of what comes that should lie inside the interval
	Plan     Course    `json:"plan"`
	NoWater  Course    `json:"no_water"`
	AsUsual  Course    `json:"as_usual"`
}

// Course is one variant, m3/m3; the first value is for the time of issue.
type Course struct {
	WaterContent []float64 `json:"water_content"`
	Low          []float64 `json:"low"`
	High         []float64 `json:"high"`
}

// AppendForecast appends the published forecast of a zone to dst. A value that
// is not a number is an error, and dst is then returned as it was.
func AppendForecast(dst []byte, site, zone string, f *policy.Forecast) ([]byte, error) {
	w := writer{b: append(dst, '{')}
	w.text("site", site)
	w.text("zone", zone)
	w.time("issued_at", f.IssuedAt)
	w.key("step_s")
	w.b = strconv.AppendInt(w.b, forecastStep, 10)
	w.number("level", f.Level, decimalsContent)
	w.course("plan", &f.Plan)
	w.course("no_water", &f.NoWater)
	w.course("as_usual", &f.AsUsual)
	w.close('}')
	if w.err != nil {
		return dst, w.failed("forecast of " + site + "/" + zone)
	}
	return w.b, nil
}

func (w *writer) course(name string, c *policy.Course) {
	w.open(name, '{')
	w.series("water_content", c.WaterContent)
	w.series("low", c.Low)
	w.series("high", c.High)
	w.close('}')
}

func (w *writer) series(name string, values []float64) {
	w.open(name, '[')
	for i, v := range values {
		if i > 0 {
			w.b = append(w.b, ',')
		}
		w.b = w.appendDecimal(w.b, name, v, decimalsContent)
	}
	w.close(']')
}

// ParseForecast reads a published forecast.
func ParseForecast(payload []byte) (*Forecast, error) {
	f := new(Forecast)
	if err := json.Unmarshal(payload, f); err != nil {
		return nil, fmt.Errorf("forecast: %w; expected what this program publishes", err)
	}
	return f, nil
}
