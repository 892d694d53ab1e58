package forecast_test

import (
	"fmt"

	"rhizostat/policy/forecast"
)

// A pot of 7 L that drinks 6 mL in five minutes and gets one shot after half an
// hour: what stays of it lifts the water content, what is above capacity drains.
func ExampleSituation_Forward() {
	s := forecast.Situation{WaterContent: 0.58, VolumeML: 7000, Capacity: 0.6, Capture: 0.9, DrainTimeS: 900, UptakeML: make([]float64, 24)}
	for k := range s.UptakeML {
		s.UptakeML[k] = 6
	}
	var run forecast.Run
	s.Forward([]forecast.Shot{{Step: 6, VolumeML: 300}}, &run)
	drained := 0.0
	for _, ml := range run.DrainML {
		drained += ml
	}
	fmt.Printf("before the shot %.4f, after it %.4f, two hours on %.4f, drained %.0f mL\n",
		run.WaterContent[6], run.WaterContent[7], run.WaterContent[24], drained)
	// Output: before the shot 0.5749, after it 0.6088, two hours on 0.5889, drained 94 mL
}
