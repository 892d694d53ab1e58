package hydraulics

import "slices"

// The built-in substrates, sorted by name. No published van Genuchten set could
// be read whole for the horticultural ones: those rows are Illustrative, a shape
// drawn through the published numbers that Source names and nothing more. A
// substrate of the same name from another bag can differ by 0.2 m3/m3. A site
// should tell its own points; these serve until then.
//
// The mineral rows are the class means of Carsel & Parrish (1988), Water Resour.
// Res. 24:755-769, as a public soil-hydraulics catalogue carries them.
var builtIn = [...]Substrate{
	mineral("clay", 0.068, 0.38, 0.008, 1.09),
	mineral("clay-loam", 0.095, 0.41, 0.019, 1.31),
	{
		Name: "coir", TotalPorosity: 0.875,
		Retention:  Retention{ThetaR: 0.2, ThetaS: 0.875, AlphaPerKPa: 2.00556574, N: 1.6},
		Provenance: Illustrative, BulkDensity: 0.06,
		Source: "Evans, Konduru & Stamps (1996): total porosity 0.855 to 0.895 and 0.73 to 0.80 water in a drained core, taken as 7.6 cm tall; theta_r and n chosen",
	},
	{
		Name: "coir-perlite", TotalPorosity: 0.86,
		Retention:  Retention{ThetaR: 0.1, ThetaS: 0.86, AlphaPerKPa: 3.7459717, N: 1.6},
		Provenance: Illustrative,
		Source:     "air-filled porosity of drained nursery stock mixes 0.13 to 0.30 (EcoHort guideline), its middle in a 7.6 cm core, and the lowest porosity of coir of Evans, Konduru & Stamps (1996), as perlite lowers it (Londra 2010, in words only); theta_r and n chosen",
	},
	mineral("loam", 0.078, 0.43, 0.036, 1.56),
	mineral("loamy-sand", 0.057, 0.41, 0.124, 2.28),
	{
		Name: "peat", TotalPorosity: 0.98,
		Retention:  Retention{ThetaR: 0.15, ThetaS: 0.98, AlphaPerKPa: 1.65152302, N: 1.6},
		Provenance: Illustrative, BulkDensity: 0.11,
		Source: "Int. J. Agronomy 2012, 978528, table 1: total porosity 0.98 and container capacity 0.87 in a 7.6 cm core; theta_r and n chosen",
	},
	{
		Name: "peat-perlite", TotalPorosity: 0.925,
		Retention:  Retention{ThetaR: 0.12, ThetaS: 0.925, AlphaPerKPa: 3.1734347, N: 1.6},
		Provenance: Illustrative, BulkDensity: 0.11,
		Source: "air-filled porosity of drained greenhouse media 0.15 to 0.25 (a supplier's page), its middle in a 7.6 cm core, and the porosity of 238 media at 0.11 g/cm3 (Acta Hort. 294:2, regression); theta_r and n chosen",
	},
	{
		Name: "pine-bark", TotalPorosity: 0.79,
		Retention:  Retention{ThetaR: 0.25, ThetaS: 0.79, AlphaPerKPa: 24.8096947, N: 1.45},
		Provenance: Illustrative, BulkDensity: 0.18,
		Source: "Int. J. Agronomy 2012, 978528, table 1: total porosity 0.79 and container capacity 0.48 in a 7.6 cm core; theta_r and n chosen; a composted bark held 0.06 more at 4 kPa (O'Meara, Chappell & van Iersel 2014)",
	},
	mineral("sand", 0.045, 0.43, 0.145, 2.68),
	mineral("sandy-clay", 0.1, 0.38, 0.027, 1.23),
	mineral("sandy-clay-loam", 0.1, 0.39, 0.059, 1.48),
	mineral("sandy-loam", 0.065, 0.41, 0.075, 1.89),
	mineral("silt", 0.034, 0.46, 0.016, 1.37),
	mineral("silt-loam", 0.067, 0.45, 0.02, 1.41),
	mineral("silty-clay", 0.07, 0.36, 0.005, 1.09),
	mineral("silty-clay-loam", 0.089, 0.43, 0.01, 1.23),
	{
		Name: "stone-wool", TotalPorosity: 0.954,
		Retention:  Retention{ThetaR: 0.02, ThetaS: 0.954, AlphaPerKPa: 0.51840928, N: 2.5},
		Provenance: Illustrative, BulkDensity: 0.0769,
		Source: "Acta Agrophysica 10:113-120 (2007): 12.40 kg/kg when full, 11.23 kg/kg and 0.09 air at 0.98 kPa; theta_r and n chosen; other wools drain to 0.80 in a slab (a general page)",
	},
}

// mineral is a row of Carsel & Parrish (1988), alpha in 1/cm as they print it.
// Their theta_s stands for the total porosity too.
func mineral(name string, thetaR, thetaS, alphaPerCM, n float64) Substrate {
	return Substrate{
		Name: name, TotalPorosity: thetaS,
		Retention:  Retention{ThetaR: thetaR, ThetaS: thetaS, AlphaPerKPa: alphaPerCM * CMPerKPa, N: n},
		Provenance: Published, Source: "Carsel & Parrish (1988), class mean of " + name,
	}
}

// BuiltIn returns the built-in substrate of a name, and whether there is one.
func BuiltIn(name string) (Substrate, bool) {
	for _, s := range builtIn {
		if s.Name == name {
			return s, true
		}
	}
	return Substrate{}, false
}

// BuiltInNames returns the names of the built-in substrates, sorted.
func BuiltInNames() []string {
	names := make([]string, 0, len(builtIn))
	for _, s := range builtIn {
		names = append(names, s.Name)
	}
	slices.Sort(names)
	return names
}
