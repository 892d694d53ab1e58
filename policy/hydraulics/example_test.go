package hydraulics_test

import (
	"fmt"

	"rhizostat/policy/hydraulics"
)

// One mix in two containers: porosity belongs to the mix, how water and air
// share it to the container (Bilderback & Fonteno 1987).
func ExampleNewProfile() {
	mix, _ := hydraulics.BuiltIn("peat-perlite")
	for _, c := range []hydraulics.Container{
		{Name: "tray cell", HeightCM: 4, TopDiameterCM: 4, BottomDiameterCM: 3},
		{Name: "pot", HeightCM: 20, TopDiameterCM: 24, BottomDiameterCM: 18},
	} {
		p, err := hydraulics.NewProfile(mix, c)
		if err != nil {
			fmt.Println(err)
			return
		}
		capacity := p.ContainerCapacity()
		fmt.Printf("%s: water %.2f, air %.2f, lowest tenth %.2f\n", c.Name, capacity, p.AirFilledPorosity(capacity), p.WaterContentAt(capacity, c.HeightCM/20))
	}
	// Output:
	// tray cell: water 0.81, air 0.12, lowest tenth 0.92
	// pot: water 0.53, air 0.39, lowest tenth 0.88
}

// A probe low in the pot reads wetter than the pot is.
func ExampleProbeTable_Mean() {
	mix, _ := hydraulics.BuiltIn("coir")
	p, err := hydraulics.NewProfile(mix, hydraulics.Container{HeightCM: 20, TopDiameterCM: 24, BottomDiameterCM: 18})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, height := range []float64{4, 16} {
		probe, err := p.Probe(height, 0)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("0.50 at %.0f cm: the pot holds %.3f\n", height, probe.Mean(0.50))
	}
	// Output:
	// 0.50 at 4 cm: the pot holds 0.457
	// 0.50 at 16 cm: the pot holds 0.577
}

// A laboratory's water release at 1, 5 and 10 kPa becomes a curve.
func ExampleFit() {
	curve, rmse, err := hydraulics.Fit([]hydraulics.Point{{SuctionKPa: 1, WaterContent: 0.60}, {SuctionKPa: 5, WaterContent: 0.35}, {SuctionKPa: 10, WaterContent: 0.30}}, 0.92)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("alpha %.2f 1/kPa, n %.2f, off by %.3f\n", curve.AlphaPerKPa, curve.N, rmse)
	_, _, err = hydraulics.Fit([]hydraulics.Point{{SuctionKPa: 1, WaterContent: 0.60}, {SuctionKPa: 5, WaterContent: 0.35}}, 0.92)
	fmt.Println(err)
	// Output:
	// alpha 1.95 1/kPa, n 1.75, off by 0.000
	// points: 2 distinct suctions above zero; expected at least 3, such as 1, 5 and 10 kPa
}

// The same wetness is worse in a warm root zone.
func ExampleProfile_AerationMargin() {
	mix, _ := hydraulics.BuiltIn("peat")
	p, err := hydraulics.NewProfile(mix, hydraulics.Container{HeightCM: 8, TopDiameterCM: 10, BottomDiameterCM: 8})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, temperature := range []float64{15, 20, 30} {
		fmt.Printf("%.0f Cel: %.2f\n", temperature, p.AerationMargin(0.85, temperature, hydraulics.DefaultAeration))
	}
	// Output:
	// 15 Cel: 0.71
	// 20 Cel: 0.54
	// 30 Cel: -0.09
}
