package climate

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"testing"
	"time"

	"rhizostat/policy/internal/references"
)

// Which of ours a row of the reference checks; NaN: none, and reasons says why.
func climateValue(r references.Row) float64 {
	switch r.Quantity {
	case "saturation vapour pressure", "saturation vapour pressure, FAO-56 Eq. 11", "saturation vapour pressure, reference":
		return SaturationVapourPressure(r.Number("t_cel"))
	case "saturation vapour pressure, true":
		return SaturationVapourPressure(r.Number("t_cel"))
	case "saturation vapour pressure at Tmax":
		return SaturationVapourPressure(r.Number("tmax_cel"))
	case "saturation vapour pressure at Tmin", "actual vapour pressure from Tmin":
		return SaturationVapourPressure(r.Number("tmin_cel"))
	case "mean saturation vapour pressure", "FAO-56 daily chain: es":
		return dayAir(r).SaturationVapourPressure()
	case "actual vapour pressure, psychrometer":
		return WetBulb{DryCel: r.Number("tdry_cel"), WetCel: r.Number("twet_cel"), PressureKPa: r.Number("pressure_kpa")}.VapourPressure()
	case "actual vapour pressure from RHmax, RHmin", "FAO-56 daily chain: ea":
		return dayAir(r).VapourPressure()
	case "actual vapour pressure from RHmean":
		return dayAir(r).VapourPressureOfMean(r.Number("rhmean"))
	case "vapour pressure deficit":
		return dayAir(r).SaturationVapourPressure() - dayAir(r).VapourPressure()
	case "vapour pressure deficit of air":
		return Air{r.Number("t_cel"), r.Number("rh")}.Deficit()
	case "leaf-to-air vapour pressure deficit":
		return Air{r.Number("t_air_cel"), r.Number("rh")}.LeafDeficit(r.Number("t_leaf_cel"))
	case "atmospheric pressure", "FAO-56 daily chain: pressure":
		return AtmosphericPressure(r.Number("elevation_m"))
	case "psychrometric constant", "FAO-56 daily chain: gamma":
		if p := r.Number("pressure_kpa"); !math.IsNaN(p) {
			return PsychrometricConstant(p)
		}
		return PsychrometricConstant(AtmosphericPressure(r.Number("elevation_m")))
	case "slope of the vapour pressure curve", "FAO-56 daily chain: slope":
		if tm := r.Number("tmax_cel"); !math.IsNaN(tm) {
			return VapourPressureSlope((tm + r.Number("tmin_cel")) / 2)
		}
		return VapourPressureSlope(r.Number("t_cel"))
	}
	return radiationValue(r)
}

func radiationValue(r references.Row) float64 {
	d := dayOf(r)
	switch r.Quantity {
	case "inverse relative distance":
		return InverseRelativeDistance(d.DayOfYear)
	case "solar declination":
		return Declination(d.DayOfYear)
	case "sunset hour angle":
		if lat := r.Number("lat_rad"); !math.IsNaN(lat) { // Example 8, 3 September
			return Place{LatitudeDeg: lat / radians, DayOfYear: 246}.SunsetHourAngle()
		}
		return d.SunsetHourAngle()
	case "extraterrestrial radiation, day", "FAO-56 daily chain: ra":
		return d.Extraterrestrial()
	case "daylight hours", "FAO-56 daily chain: daylight":
		return d.DaylightHours()
	case "solar radiation from sunshine", "FAO-56 daily chain: rs":
		return d.Solar
	case "clear-sky radiation", "FAO-56 daily chain: rso":
		return d.ClearSky(d.Extraterrestrial())
	case "net longwave radiation", "FAO-56 daily chain: rnl":
		if rso := r.Number("rso"); !math.IsNaN(rso) {
			return NetLongwaveDay(d.Air, d.VapourPressureKPa, d.Solar, rso)
		}
		return NetLongwaveDay(d.Air, d.VapourPressureKPa, d.Solar, d.ClearSky(d.Extraterrestrial()))
	case "net shortwave radiation", "FAO-56 daily chain: rns":
		return NetShortwave(d.Solar, ReferenceAlbedo)
	case "net radiation", "FAO-56 daily chain: rn":
		if rns := r.Number("rns"); !math.IsNaN(rns) {
			return rns - r.Number("rnl")
		}
		return d.NetRadiation()
	case "solar radiation from temperature":
		p := d.Place
		p.DayOfYear, p.LatitudeDeg = 196, 45.72 // Example 15 and 20: Lyon, 15 July
		return p.FromTemperatures(d.Air, r.Number("krs"))
	case "monthly soil heat flux":
		return MonthlySoilHeat(r.Number("t_prev_cel"), r.Number("t_next_cel"))
	case "energy to water depth":
		return WaterOf(r.Number("mj_m2_d"))
	case "wind at 2 m", "FAO-56 daily chain: u2":
		return d.Wind2M
	}
	return evaporationValue(r, d)
}

func evaporationValue(r references.Row, d Day) float64 {
	switch r.Quantity {
	case "reference ET, day", "reference ET, monthly", "FAO-56 daily chain: eto":
		return d.Reference(GrassDay)
	case "reference ET from temperatures only":
		d.VapourPressureKPa = SaturationVapourPressure(d.Air.MinCel)
		d.Solar = d.FromTemperatures(d.Air, 0.16)
		return d.Reference(GrassDay)
	case "reference ET, Hargreaves":
		return d.Hargreaves(d.Air)
	case "Priestley-Taylor potential evaporation":
		return PriestleyTaylor(r.Number("t_cel"), r.Number("rn"), AtmosphericPressure(d.ElevationM))
	case "Makkink reference evaporation":
		return Makkink(r.Number("t_cel"), r.Number("rs"), AtmosphericPressure(d.ElevationM))
	case "internal (stomatal) resistance of tomato":
		return Leaf{AbsorbedRadiation: r.Number("radiation_absorbed_w_m2"), LeafAreaIndex: r.Number("lai"), TemperatureCel: r.Number("t_leaf_cel"),
			CO2PPM: r.Number("co2_ppm"), DeficitKPa: r.Number("vpd_pa") / 1000, Night: r.Inputs["night"] == true}.StomatalResistance()
	case "latent heat flux, Baille form":
		return Canopy{A: r.Number("A"), BWattsPerM2: r.Number("B_w_m2_kpa"), Extinction: r.Number("k"), LeafAreaIndex: r.Number("lai")}.
			LatentHeatFlux(r.Number("g_w_m2"), r.Number("vpd_kpa"))
	case "transpiration, Baille form":
		return MillimetersPerHour(r.Number("latent_w_m2"))
	case "water evaporated by 1 J/cm2, upper bound":
		return LargestUptakePerJouleCM2
	case "J/cm2 to MJ/m2":
		return MegajoulesFromJoulesPerCM2(r.Number("j_cm2"))
	case "W/m2 held for an hour to J/cm2":
		return JoulesPerCM2(r.Number("w_m2"), 3600)
	}
	return hourValue(r)
}

func hourValue(r references.Row) float64 {
	h := Hour{Solar: r.Number("rs"), Ratio: orZero(r.Number("rs_rso_ratio")), Wind2M: r.Number("u2"), Air: Air{r.Number("t_cel"), r.Number("rh")}}
	h.LatitudeDeg, h.ElevationM, h.DayOfYear = r.Number("lat_deg"), r.Number("elevation_m"), int(orZero(r.Number("doy")))
	h.LongitudeWestDeg, h.ZoneLongitudeWestDeg, h.MiddleH = r.Number("lon_deg_w"), r.Number("lz_deg_w"), r.Number("hour_mid")
	switch r.Quantity {
	case "solar time angle, mid-hour", "FAO-56 hourly chain: solar_angle":
		return h.SolarAngle()
	case "extraterrestrial radiation, hour", "FAO-56 hourly chain: ra":
		return h.ExtraterrestrialHour()
	case "clear-sky radiation, hour", "FAO-56 hourly chain: rso":
		return h.ClearSky(h.ExtraterrestrialHour())
	case "net shortwave radiation, hour", "FAO-56 hourly chain: rns":
		return NetShortwave(h.Solar, ReferenceAlbedo)
	case "net longwave radiation, hour", "FAO-56 hourly chain: rnl":
		ratio := h.Ratio
		if ratio == 0 {
			ratio = h.Solar / h.ClearSky(h.ExtraterrestrialHour())
		}
		return NetLongwaveHour(h.Air, ratio)
	case "net radiation, hour", "FAO-56 hourly chain: rn":
		return h.NetRadiation()
	case "soil heat flux, hour":
		return SoilHeat(r.Number("rn"), r.Inputs["day"] == true)
	case "FAO-56 hourly chain: g":
		return SoilHeat(h.NetRadiation(), h.Solar > 0)
	case "FAO-56 hourly chain: ea":
		return h.Air.VapourPressure()
	case "FAO-56 hourly chain: es":
		return SaturationVapourPressure(h.Air.TemperatureCel)
	case "FAO-56 hourly chain: slope":
		return VapourPressureSlope(h.Air.TemperatureCel)
	case "reference ET, hour", "FAO-56 hourly chain: eto":
		return h.Reference(GrassHour)
	}
	return math.NaN()
}

func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

func dayAir(r references.Row) DayAir {
	return DayAir{MaxCel: r.Number("tmax_cel"), MinCel: r.Number("tmin_cel"), HumidityMaxPercent: r.Number("rhmax"), HumidityMinPercent: r.Number("rhmin")}
}

// dayOf is the day of a row; two rows name an example of the paper and leave its
// numbers to the rows before them.
func dayOf(r references.Row) Day {
	switch r.Text("case") {
	case "Example 12, Rio de Janeiro, May":
		r.Inputs = numbers(`{"lat_deg":-22.9,"doy":135,"elevation_m":0,"n_h":7.1,"tmax_cel":25.1,"tmin_cel":19.1,"ea_kpa":2.1}`)
	case "Example 17, Bangkok, April":
		r.Inputs = numbers(`{"lat_deg":13.73,"doy":105,"elevation_m":2,"n_h":8.5,"tmax_cel":34.8,"tmin_cel":25.6,"ea_kpa":2.85}`)
	}
	d := Day{Place: Place{LatitudeDeg: r.Number("lat_deg"), DayOfYear: int(orZero(r.Number("doy"))), ElevationM: orZero(r.Number("elevation_m"))},
		Air: dayAir(r), VapourPressureKPa: r.Number("ea_kpa"), SoilHeat: orZero(r.Number("g"))}
	if math.IsNaN(d.VapourPressureKPa) && !math.IsNaN(d.Air.HumidityMaxPercent) {
		d.VapourPressureKPa = d.Air.VapourPressure()
	}
	d.Solar = r.Number("rs")
	if math.IsNaN(d.Solar) {
		c := DefaultAngstrom
		if a := r.Number("a"); !math.IsNaN(a) {
			c = Angstrom{a, r.Number("b")}
		}
		d.Solar = d.FromSunshine(r.Number("n_h"), c)
	}
	switch {
	case !math.IsNaN(r.Number("u2")):
		d.Wind2M = r.Number("u2")
	case !math.IsNaN(r.Number("u10_m_s")):
		d.Wind2M = WindAt2M(r.Number("u10_m_s"), 10)
	case !math.IsNaN(r.Number("u_m_s")):
		d.Wind2M = WindAt2M(r.Number("u_m_s"), r.Number("z_m"))
	}
	return d
}

func numbers(s string) map[string]any {
	var m map[string]any
	if err := json.Unmarshal([]byte(s), &m); err != nil {
		panic(err)
	}
	return m
}

// notOurs are rows of the full set that check something the engine has no use
// for.
var notOurs = map[string]string{
	"humidity ratio from vapour pressure": "the engine has no use for the humidity ratio",
}

func TestClimateAgainstReferences(t *testing.T) {
	check := func(t *testing.T, r references.Row) {
		if _, skip := notOurs[r.Quantity]; skip {
			return
		}
		source := "FAO-56 and others, worked examples"
		switch r.Provenance {
		case "computed":
			source = "formula at 40 digits"
		case "library":
			source = "psychrometrics library"
		}
		if r.Quantity == "saturation vapour pressure, reference" {
			// the row's note says by how much Eq. 11 misses the better formula
			checkMiss(t, r, source)
			return
		}
		if r.Quantity == "saturation vapour pressure, true" {
			// Eq. 11 approximates the steam table that this row holds; its own
			// tolerance is that of a better formula
			r.Tolerance = "0.002 relative"
			source = "steam table"
		}
		page.Hold(t, r, r.Quantity, source, climateValue(r))
	}
	t.Run("climate", func(t *testing.T) { page.Each(t, "climate.csv", "04-climate-checks.csv", check) })
	t.Run("saturation", func(t *testing.T) { page.Each(t, "climate-saturation.csv", "04-svp-table.csv", check) })
}

// checkMiss holds Eq. 11 against a better formula: not to agree with it, but to
// miss it by what is known of Eq. 11, in percent.
func checkMiss(t *testing.T, r references.Row, source string) {
	t.Helper()
	want, err := strconv.ParseFloat(r.Expected, 64)
	if err != nil {
		t.Fatal(err)
	}
	var known float64
	if _, err := fmt.Sscanf(r.Note, "Eq. 11 differs by %f %%", &known); err != nil {
		t.Fatalf("%s: note %q: %v", r.ID, r.Note, err)
	}
	r.Expected, r.Tolerance, r.Unit = strconv.FormatFloat(known, 'g', -1, 64), "0.00051", "%"
	page.Hold(t, r, "what Eq. 11 misses Hyland & Wexler by, %", source, 100*(SaturationVapourPressure(r.Number("t_cel"))/want-1))
}

// fallon turns a row of a weather station, in its own units, into a day.
func fallon(r references.Row) Day {
	cel := func(f float64) float64 { return (f - 32) / 1.8 }
	date, err := time.Parse("2006-01-02", r.Text("date"))
	doy := date.YearDay()
	if err != nil {
		doy = int(r.Number("doy"))
	}
	return Day{
		Place:             Place{LatitudeDeg: r.Number("lat_deg"), DayOfYear: doy, ElevationM: r.Number("elevation_m")},
		Air:               DayAir{MaxCel: cel(r.Number("tmax_f")), MinCel: cel(r.Number("tmin_f"))},
		VapourPressureKPa: dewPressure(r, cel),
		Solar:             r.Number("rs_langley") * r.Number("mj_per_langley"),
		Wind2M:            WindAt2M(r.Number("uz_mph")*0.44704, r.Number("zw_m")),
	}
}

// dewPressure is the vapour pressure of a day by its dew point; the row of the
// single hour has the pressure itself.
func dewPressure(r references.Row, cel func(float64) float64) float64 {
	if dew := r.Number("tdew_f"); !math.IsNaN(dew) {
		return SaturationVapourPressure(cel(dew))
	}
	return r.Number("ea_kpa")
}

func TestFallonAgainstReferenceProgram(t *testing.T) {
	page.Each(t, "climate-fallon.csv", "04-asce-fallon.csv", func(t *testing.T, r references.Row) {
		d := fallon(r)
		value := math.NaN()
		switch r.Quantity {
		case "reference ET short, day", "reference ET short, day, FAO-56 with simple Rso":
			value = d.Reference(GrassDay)
		case "ETo short, day (ASCE)":
			value = d.Reference(GrassDay)
			r.Tolerance = "0.08" // that program takes the full clear-sky formula, ours the simple one: up to 0.0715 mm this month
		case "ETr tall, day (ASCE)":
			value = d.Reference(TallDay)
			r.Tolerance = "0.15" // likewise
		case "reference ET tall, day":
			value = d.Reference(TallDay)
		case "actual vapour pressure":
			value = d.VapourPressureKPa
		case "wind at 2 m":
			value = d.Wind2M
		case "mean saturation vapour pressure":
			value = d.Air.SaturationVapourPressure()
		case "clear-sky radiation, simple":
			value = d.ClearSky(d.Extraterrestrial())
			r.Tolerance = "0.001 relative" // the row rests on an Ra of 41.676 (its source's other mode), while the same source's ASCE row and ours have 41.648
		case "clear-sky radiation, full (RefET method)":
			return // not ours: the simple one stands
		case "extraterrestrial radiation (ASCE)":
			value = d.Extraterrestrial()
		case "atmospheric pressure (ASCE)":
			value = AtmosphericPressure(d.ElevationM)
		case "saturation vapour pressure":
			value = SaturationVapourPressure((r.Number("tmean_f") - 32) / 1.8)
		default:
			if h, ok := fallonHour(r); ok {
				value = h
			}
		}
		page.Hold(t, r, r.Quantity+", Fallon NV", "RefET, July 2015", value)
	})
}

func fallonHour(r references.Row) (float64, bool) {
	h := Hour{Air: Air{TemperatureCel: (r.Number("tmean_f") - 32) / 1.8}, Solar: r.Number("rs_langley") * r.Number("mj_per_langley"),
		Wind2M: WindAt2M(r.Number("uz_mph")*0.44704, r.Number("zw_m"))}
	h.Air.HumidityPercent = 100 * r.Number("ea_kpa") / SaturationVapourPressure(h.Air.TemperatureCel)
	h.LatitudeDeg, h.ElevationM, h.DayOfYear = r.Number("lat_deg"), r.Number("elevation_m"), int(orZero(r.Number("doy")))
	h.LongitudeWestDeg, h.ZoneLongitudeWestDeg = -r.Number("lon_deg"), 0
	h.MiddleH = r.Number("utc_hour_start") + 0.5
	net := h.NetRadiation()
	s := Evaporation{TemperatureCel: h.Air.TemperatureCel, NetRadiation: net, Wind2M: h.Wind2M,
		DeficitKPa: h.Air.Deficit(), PressureKPa: AtmosphericPressure(h.ElevationM)}
	switch r.Quantity {
	case "extraterrestrial radiation, hour (ASCE)":
		return h.ExtraterrestrialHour(), true
	case "ETo short, hour (ASCE)":
		s.SoilHeat = 0.1 * net
		return ShortDayHour.Reference(s), true
	case "ETr tall, hour (ASCE)":
		s.SoilHeat = 0.04 * net // ASCE-EWRI (2005): the tall crop shades the ground
		return TallDayHour.Reference(s), true
	}
	return 0, false
}
