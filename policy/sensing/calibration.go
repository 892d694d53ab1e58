package sensing

import (
	"fmt"
	"math"
	"strings"
)

// Calibration turns what a probe sends into volumetric water content and pore
// EC. The zero value takes the probe's own water_content and pore_ec as they
// are.
type Calibration struct {
	Kind        string       // "" (as sent) or one of [CalibrationKinds]
	Input       string       // of polynomial and points: "" or permittivity; water_content corrects what is sent
	Polynomial  []float64    // of the input, constant term first
	Points      [][2]float64 // input, water content in m3/m3: at least two, both rising
	BulkDensity float64      // g/cm3, for malicki
	TareKG      float64      // of container and dry substrate, for weight
	CropKG      float64      // allowance for the plant, for weight
	VolumeML    float64      // of the container, for weight

	PoreEC      string  // model of pore EC from bulk EC: "", hilhorst, rhoades
	Offset      float64 // permittivity offset of the hilhorst model, 0: its default
	RhoadesE    float64 // of water content squared, for rhoades
	RhoadesF    float64 // of water content, for rhoades
	SurfaceEC   float64 // of the solids, mS/cm, for rhoades
	ECAtProbe   bool    // bulk_ec comes uncompensated, at the substrate's temperature
	ECPerKelvin float64 // linear compensation of such, 0: the table of ISO 7888
}

// The kinds of calibration.
const (
	AsSent     = ""
	Polynomial = "polynomial"
	Points     = "points"
	Weight     = "weight"

	Hilhorst = "hilhorst"
	Rhoades  = "rhoades"
)

// CalibrationKinds lists what Calibration.Kind may be, in the order people are
// shown.
var CalibrationKinds = []string{"topp", "ledieu", "malicki", "roth-mineral", "roth-organic", "pepin-peat",
	"schaap-forest-floor", "nadler", "jacobsen-schjonning", "steelman-endres", Polynomial, Points, Weight}

// Why a reading gives no water content, or a clamped one.
const (
	NoWaterContent    = "no-water-content"    // the probe sent none
	NoPermittivity    = "no-permittivity"     // the calibration asks for it
	NoContainerWeight = "no-container-weight" // likewise
	BelowRange        = "below-range"         // further below 0 than a calibration errs
	AboveRange        = "above-range"         // further above 1 than a calibration errs
	Clamped           = "clamped"             // to 0 or 1; the value counts
)

// calibrationSlack is how far outside 0 to 1 a calibrated water content may fall
// and still be taken as 0 or 1, m3/m3: Topp gives -0.024 in air. Beyond it the
// probe does not measure substrate.
const calibrationSlack = 0.05

// Validate reports everything that is wrong with a calibration; nil when it can
// be used.
func (c Calibration) Validate() error {
	var wrong []string
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	switch c.Kind {
	case AsSent:
	case Polynomial:
		c.validatePolynomial(say)
	case Points:
		c.validatePoints(say)
	case Weight:
		if !(c.VolumeML >= 10 && c.VolumeML <= 1e6) {
			say("volume %v mL is not that of a container; expected 10 to 1000000", c.VolumeML)
		}
		if !(c.TareKG >= 0 && c.TareKG <= 1000) || !(c.CropKG >= 0 && c.CropKG <= 1000) {
			say("tare %v kg and crop %v kg; expected 0 to 1000 each", c.TareKG, c.CropKG)
		}
	case "malicki":
		if !(c.BulkDensity > 0 && c.BulkDensity <= 2.7) {
			say("bulk density %v g/cm3; malicki needs one above 0 and up to 2.7", c.BulkDensity)
		}
	default:
		if _, ok := publishedForm(c.Kind, 0); !ok {
			say("kind %q is not known; expected %s, or leave it out for the probe's own water_content", c.Kind, strings.Join(CalibrationKinds, ", "))
		}
	}
	if c.Input != "" && c.Input != "permittivity" && c.Input != "water_content" {
		say("input %q is not known; expected permittivity or water_content", c.Input)
	}
	c.validatePoreEC(say)
	if len(wrong) == 0 {
		return nil
	}
	return fmt.Errorf("calibration: %s", strings.Join(wrong, "; "))
}

func (c Calibration) validatePoreEC(say func(string, ...any)) {
	switch c.PoreEC {
	case "":
	case Hilhorst:
		if !(c.Offset == 0 || c.Offset >= 1 && c.Offset <= 10) {
			say("offset %v of hilhorst; expected 1 to 10, or leave it out for %v", c.Offset, DefaultHilhorstOffset)
		}
	case Rhoades:
		if !(c.RhoadesE >= 0 && c.RhoadesF >= 0 && c.RhoadesE+c.RhoadesF > 0 && c.SurfaceEC >= 0) {
			say("rhoades needs e and f at or above 0, one of them above, and a surface ec at or above 0; got %v, %v, %v",
				c.RhoadesE, c.RhoadesF, c.SurfaceEC)
		}
	default:
		say("pore ec model %q is not known; expected hilhorst or rhoades, or leave it out", c.PoreEC)
	}
	if !(c.ECPerKelvin >= 0 && c.ECPerKelvin <= 0.03) {
		say("ec compensation %v per K; expected 0 to 0.03, customary 0.02", c.ECPerKelvin)
	}
}

// inputRange is where a site's own calibration must rise.
func (c *Calibration) inputRange() (low, high float64) {
	if c.Input == "water_content" {
		return 0, 1
	}
	return 1, 80 // air to water
}

// validatePolynomial asks for a curve that rises wherever it gives a water
// content between 0 and 1: where it turns, two readings mean the same water.
func (c *Calibration) validatePolynomial(say func(string, ...any)) {
	if n := len(c.Polynomial); n < 2 || n > 8 {
		say("polynomial has %d coefficients; expected 2 to 8, constant term first", n)
		return
	}
	for i, k := range c.Polynomial {
		if math.IsNaN(k) || math.IsInf(k, 0) {
			say("polynomial coefficient %d is %v; expected a number", i, k)
			return
		}
	}
	low, high := c.inputRange()
	const steps = 400
	seen := false
	last := horner(c.Polynomial, low)
	for i := 1; i <= steps; i++ {
		x := low + (high-low)*float64(i)/steps
		y := horner(c.Polynomial, x)
		if y >= 0 && last <= 1 {
			if y <= last {
				say("polynomial falls at an input of %.3g; expected one that rises while it gives 0 to 1 m3/m3", x)
				return
			}
			seen = true
		}
		if y > 1 {
			break
		}
		last = y
	}
	if !seen {
		say("polynomial gives no water content between 0 and 1 for inputs from %v to %v; check its unit", low, high)
	}
}

func (c *Calibration) validatePoints(say func(string, ...any)) {
	if n := len(c.Points); n < 2 || n > 64 {
		say("%d points; expected 2 to 64 of [input, water content]", n)
		return
	}
	low, high := c.inputRange()
	for i, p := range c.Points {
		switch {
		case !(p[0] >= low-0.2 && p[0] <= high+20):
			say("point %d has an input of %v; expected %v to %v", i+1, p[0], low, high)
		case !(p[1] >= 0 && p[1] <= 1):
			say("point %d has a water content of %v; expected m3/m3 from 0 to 1", i+1, p[1])
		case i > 0 && !(p[0] > c.Points[i-1][0] && p[1] > c.Points[i-1][1]):
			say("point %d does not rise above the one before it; expected both numbers to rise", i+1)
		}
	}
}

// WaterContent returns the volumetric water content at the probe, m3/m3. It is
// not ok where the probe did not send what the calibration asks for, or where
// the result is further outside 0 to 1 than a calibration errs; why says which,
// and says Clamped beside an ok value that was brought to 0 or 1.
func (c *Calibration) WaterContent(v *Values) (wc float64, ok bool, why string) {
	switch c.Kind {
	case AsSent:
		wc, ok = v.Get(WaterContent)
		if !ok {
			return 0, false, NoWaterContent
		}
	case Weight:
		kg, has := v.Get(ContainerWeight)
		if !has {
			return 0, false, NoContainerWeight
		}
		wc = WaterContentByWeight(kg-c.TareKG-c.CropKG, c.VolumeML)
	default:
		from, missing := Permittivity, NoPermittivity
		if c.Input == "water_content" && (c.Kind == Polynomial || c.Kind == Points) {
			from, missing = WaterContent, NoWaterContent
		}
		x, has := v.Get(from)
		if !has {
			return 0, false, missing
		}
		wc = c.apply(x)
	}
	switch {
	case wc >= 0 && wc <= 1:
		return wc, true, ""
	case wc >= -calibrationSlack && wc < 0:
		return 0, true, Clamped
	case wc > 1 && wc <= 1+calibrationSlack:
		return 1, true, Clamped
	case wc > 1:
		return 0, false, AboveRange
	}
	return 0, false, BelowRange
}

func (c *Calibration) apply(x float64) float64 {
	switch c.Kind {
	case Polynomial:
		return horner(c.Polynomial, x)
	case Points:
		return alongPoints(c.Points, x)
	case "malicki":
		return Malicki(x, c.BulkDensity)
	}
	wc, ok := publishedForm(c.Kind, x)
	if !ok {
		panic(fmt.Sprintf("sensing: calibration kind %q was not validated", c.Kind))
	}
	return wc
}

// alongPoints interpolates linearly, and goes on along the outermost piece.
func alongPoints(points [][2]float64, x float64) float64 {
	i := 1
	for i < len(points)-1 && x > points[i][0] {
		i++
	}
	a, b := points[i-1], points[i]
	return a[1] + (b[1]-a[1])*(x-a[0])/(b[0]-a[0])
}

// WaterContentByWeight returns the water content, m3/m3, of so many kg of water
// in a container of a volume in mL, at 1 kg/L.
func WaterContentByWeight(waterKG, volumeML float64) float64 { return waterKG * 1000 / volumeML }
