package diagnose

import "testing"

// Water that nobody reported is told by what the probes add up to, whether it comes at
// once or slowly, under fine probes or coarse ones, and soon after a shot or not; what a
// report explains, what one probe makes alone and what noise makes is not.
func TestRisesThatNobodyReported(t *testing.T) {
	const looks = 30
	for _, c := range []struct {
		name   string
		rise   [looks]float64 // of the water content at each look, m3/m3
		report [looks]float64 // mL
		ill    int            // look at which the drier of the probes falls out, 0: never
		alone  bool           // one probe rises alone
		step   float64        // of the probes, m3/m3
		leads  string
	}{
		{name: "nothing", leads: ""},
		{name: "at once", rise: [looks]float64{8: 0.03}, leads: "unreported-watering"},
		{name: "within an hour", rise: [looks]float64{8: 0.006, 9: 0.006, 10: 0.006, 11: 0.006, 12: 0.006, 13: 0.006, 14: 0.006}, leads: "unreported-watering"},
		{name: "on coarse probes", rise: [looks]float64{8: 0.04}, step: 0.01, leads: "unreported-watering"},
		{name: "a step of coarse probes", rise: [looks]float64{8: 0.008}, step: 0.01, leads: ""},
		{name: "three quarters of an hour after a shot", rise: [looks]float64{6: 0.012, 15: 0.03}, report: [looks]float64{6: 100}, leads: "unreported-watering"},
		{name: "a shot", rise: [looks]float64{8: 0.03}, report: [looks]float64{8: 240}, leads: ""},
		{name: "a shot that shows twice as much at first", rise: [looks]float64{8: 0.06, 9: -0.03}, report: [looks]float64{8: 240}, leads: ""},
		{name: "a shot that is reported after it came", rise: [looks]float64{8: 0.03}, report: [looks]float64{10: 240}, leads: ""},
		{name: "a shot that comes slowly", rise: [looks]float64{9: 0.01, 10: 0.01, 11: 0.005}, report: [looks]float64{8: 200}, leads: ""},
		{name: "by hand beside a shot", rise: [looks]float64{8: 0.09}, report: [looks]float64{8: 120}, leads: "unreported-watering"},
		{name: "one probe alone", rise: [looks]float64{8: 0.05}, alone: true, leads: ""},
		{name: "a probe that falls out", ill: 8, leads: "sensor-fault"},
	} {
		m, at := known()
		in := inputs()
		in.ProbeCount, in.Learned.Uptake5ML = 2, 1
		in.Water.LastMs = at
		mean := [2]float64{0.55, 0.5}
		for look := range looks {
			at += 5 * 60_000
			for i := range in.ProbeCount {
				mean[i] -= in.Learned.Uptake5ML / in.VolumeML
				if i == 0 || !c.alone {
					mean[i] += c.rise[look]
				}
				shown := mean[i] + 0.0005*float64((look+i)%3-1)
				if c.step > 0 {
					shown = float64(int(shown/c.step)) * c.step
				}
				in.Probes[i] = Probe{Heard: true, Mean: shown, AtMs: at}
			}
			in.WaterContent = (in.Probes[0].Mean + in.Probes[1].Mean) / 2
			if c.ill > 0 && look >= c.ill {
				in.Probes[1].Health, in.WaterContent = 1, in.Probes[0].Mean
			}
			if v := c.report[look]; v > 0 {
				in.Water.ReportedML += v
				in.Water.TotalML += v
				in.Water.LastMs, in.Water.LastShotMs = at, at
			}
			m.Look(in, at)
		}
		m.Belief.fade(at + hourMs)
		lead := ""
		if f := m.Findings(at+hourMs, words); len(f) > 0 {
			lead = f[0].Cause
			if lead == "unreported-watering" && !says(f[0].Evidence, "rise-not-reported") {
				t.Errorf("%s: does not say why: %+v", c.name, f[0].Evidence)
			}
		}
		if lead != c.leads {
			t.Errorf("%s: %q leads, expected %q", c.name, lead, c.leads)
		}
		m.Said("watered-by-hand", "", at+hourMs, at+hourMs)
		if f := m.Findings(at+hourMs, words); len(f) > 0 && f[0].Cause == "unreported-watering" {
			t.Errorf("%s: a person said that it was watered: %+v", c.name, f)
		}
	}
}

// What goes on rising for hours is fed, and no hand waters so.
func TestARiseThatGoesOn(t *testing.T) {
	m, at := known()
	in := inputs()
	in.ProbeCount, in.Water.LastMs = 1, at
	level := 0.5
	for look := range 60 {
		at += 5 * 60_000
		if look > 6 && look < 40 {
			level += 0.002
		}
		in.WaterContent = level
		in.Probes[0] = Probe{Heard: true, Mean: level + 0.0005*float64(look%3-1), AtMs: at}
		m.Look(in, at)
	}
	if c, _, _, wrong := m.Leading(); !wrong || c != ValveStuckOpen {
		t.Errorf("%v leads, %v", c, wrong)
	}
}
