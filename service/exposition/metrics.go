package exposition

import "math"

var zoneLabels = []string{"site", "zone"}

// Instruments is the one table of all that is measured: the collectors and the
// documentation are made from it.
var Instruments = []Instrument{
	{Name: "rhizostat_zone_water_content_ratio", Type: Gauge, Unit: "m3/m3", Labels: zoneLabels, From: "state",
		Help: "Volumetric water content, mean over the container.", decimals: 4, value: func(s *Sample) float64 { return s.WaterContent }},
	{Name: "rhizostat_zone_air_filled_porosity_ratio", Type: Gauge, Unit: "m3/m3", Labels: zoneLabels, From: "state",
		Help: "Share of the container's volume that holds air.", decimals: 4, value: func(s *Sample) float64 { return s.AirFilledPorosity }},
	{Name: "rhizostat_zone_full_point_ratio", Type: Gauge, Unit: "m3/m3", Labels: zoneLabels, From: "band",
		Help: "Upper edge of the target band.", decimals: 4, value: func(s *Sample) float64 { return s.FullPoint }},
	{Name: "rhizostat_zone_refill_point_ratio", Type: Gauge, Unit: "m3/m3", Labels: zoneLabels, From: "band",
		Help: "Lower edge of the target band.", decimals: 4, value: func(s *Sample) float64 { return s.RefillPoint }},
	{Name: "rhizostat_zone_dryback_depth_ratio", Type: Gauge, Unit: "m3/m3", Labels: zoneLabels, From: "state",
		Help: "Depth of the last completed dryback, peak minus trough.", decimals: 4, value: func(s *Sample) float64 { return s.DrybackDepth }},
	{Name: "rhizostat_zone_overnight_dryback_depth_ratio", Type: Gauge, Unit: "m3/m3", Labels: zoneLabels, From: "state",
		Help: "Fall from the last peak of an irrigation day to the last value before the next day's first shot.", decimals: 4, value: func(s *Sample) float64 { return s.OvernightDrybackDepth }},
	{Name: "rhizostat_zone_aeration_margin_ratio", Type: Gauge, Unit: "1", Labels: zoneLabels, From: "state",
		Help: "Aeration margin: 1 open, 0 critical, below 0 worse.", decimals: 4, value: func(s *Sample) float64 { return s.AerationMargin }},
	{Name: "rhizostat_zone_stability_ratio", Type: Gauge, Unit: "1", Labels: zoneLabels, From: "state",
		Help: "How predictable the zone's drinking is, 0 to 1.", decimals: 4, value: func(s *Sample) float64 { return s.Stability }},
	{Name: "rhizostat_zone_pore_ec_siemens_per_meter", Type: Gauge, Unit: "S/m", Labels: zoneLabels, From: "state",
		Help: "Electrical conductivity of the pore water at 25 Cel; times 10 it is mS/cm.", decimals: 5, value: func(s *Sample) float64 { return s.PoreEC / 10 }},
	{Name: "rhizostat_zone_advice_confidence_ratio", Type: Gauge, Unit: "1", Labels: zoneLabels, From: "forecast scores",
		Help: "Confidence of the advice, from the scores of past forecasts, 0 to 1.", decimals: 4, value: func(s *Sample) float64 { return s.AdviceConfidence }},

	{Name: "rhizostat_zone_saturation_seconds_total", Type: Counter, Unit: "s", Labels: zoneLabels, From: "state, as the ledger has it: up to 5 min old",
		Help: "Time that the zone has been saturated since it was first seen.", decimals: 3, value: func(s *Sample) float64 { return s.SaturationS }},
	{Name: "rhizostat_zone_in_band_seconds_total", Type: Counter, Unit: "s", Labels: zoneLabels, From: "state, as the ledger has it: up to 5 min old",
		Help: "Time that the water content has been inside the target band.", decimals: 3, value: func(s *Sample) float64 { return s.InBandS }},
	{Name: "rhizostat_zone_above_band_seconds_total", Type: Counter, Unit: "s", Labels: zoneLabels, From: "state, as the ledger has it: up to 5 min old",
		Help: "Time that the water content has been above the full point.", decimals: 3, value: func(s *Sample) float64 { return s.AboveBandS }},
	{Name: "rhizostat_zone_below_band_seconds_total", Type: Counter, Unit: "s", Labels: zoneLabels, From: "state, as the ledger has it: up to 5 min old",
		Help: "Time that the water content has been below the refill point.", decimals: 3, value: func(s *Sample) float64 { return s.BelowBandS }},
	{Name: "rhizostat_zone_uptake_liters_total", Type: Counter, Unit: "L", Labels: zoneLabels, From: "water account, as the ledger has it: up to 5 min old",
		Help: "Water that the crop has taken, per container.", decimals: 5, value: func(s *Sample) float64 { return s.UptakeML / 1000 }},
	{Name: "rhizostat_zone_irrigation_liters_total", Type: Counter, Unit: "L", Labels: zoneLabels, From: "water account, as the ledger has it: up to 5 min old",
		Help: "Water given, per container.", decimals: 5, value: func(s *Sample) float64 { return s.IrrigationML / 1000 }},
	{Name: "rhizostat_zone_drain_liters_total", Type: Counter, Unit: "L", Labels: zoneLabels, From: "water account, as the ledger has it: up to 5 min old",
		Help: "Water drained, per container.", decimals: 5, value: func(s *Sample) float64 { return s.DrainML / 1000 }},

	{Name: "rhizostat_zone_saturation_seconds_24h", Type: Gauge, Unit: "s", Labels: zoneLabels, From: "state",
		Help: "Time that the zone was saturated in the last 24 h of its own time, exact where increase() extrapolates.", decimals: 3, value: func(s *Sample) float64 { return s.SaturationS24h }},
	{Name: "rhizostat_zone_last_reading_timestamp_seconds", Type: Gauge, Unit: "s since 1970", Labels: zoneLabels, From: "state",
		Help: "Time of the newest accepted reading of any probe of the zone.", decimals: 3, value: func(s *Sample) float64 { return s.LastReadingUnixS }},
	{Name: "rhizostat_zone_set_aside", Type: Gauge, Unit: "1", Labels: zoneLabels, From: "the zone's goroutine",
		Help: "1 when a fault of the program has stopped this zone.", value: func(s *Sample) float64 { return truth(s.SetAside) }},
	{Name: "rhizostat_zone_diagnosis_probability", Type: Gauge, Unit: "1", Labels: []string{"site", "zone", "cause"}, From: "diagnosis",
		Help: "Probability of a cause of trouble; no series where nothing is wrong.", decimals: 4, each: func(s *Sample, put func(string, float64)) {
			for i := range s.Findings {
				put(s.Findings[i].Cause, s.Findings[i].Probability)
			}
		}},
	{Name: "rhizostat_zone_probe_healthy", Type: Gauge, Unit: "1", Labels: []string{"site", "zone", "probe"}, From: "data health",
		Help: "1 when the probe is healthy, 0 when it is stale, stuck, out of range, jumping, drifting, disagreeing or its clock is wrong.", each: func(s *Sample, put func(string, float64)) {
			for i := range s.Probes {
				put(s.Probes[i].Probe, truth(s.Probes[i].Healthy))
			}
		}},

	{Name: "rhizostat_advice_pending", Type: Gauge, Unit: "1", Labels: zoneLabels, From: "desk",
		Help: "1 when an advice of the zone waits for a person.", value: func(s *Sample) float64 { return truth(s.Pending) }},
	{Name: "rhizostat_advice_decide_by_timestamp_seconds", Type: Gauge, Unit: "s since 1970", Labels: zoneLabels, From: "desk",
		Help: "When the advice that waits for a person must be decided; no series when none waits.", decimals: 3, value: func(s *Sample) float64 {
			if !s.Pending {
				return math.NaN()
			}
			return s.DecideByUnixS
		}},
	{Name: "rhizostat_forecast_absolute_error_ratio", Type: Gauge, Unit: "m3/m3", Labels: []string{"site", "zone", "horizon"}, From: "forecast scores",
		Help: "Running mean absolute error of the forecast water content, by horizon.", decimals: 5, each: func(s *Sample, put func(string, float64)) {
			for i := range s.ForecastErrors {
				put(s.ForecastErrors[i].Horizon, s.ForecastErrors[i].Error)
			}
		}},
	{Name: "rhizostat_forecast_coverage_ratio", Type: Gauge, Unit: "1", Labels: zoneLabels, From: "forecast scores",
		Help: "Share of past forecasts whose 90 % interval held what came.", decimals: 4, value: func(s *Sample) float64 { return s.ForecastCovered }},

	{Name: "rhizostat_site_dryback_depth_ratio", Type: Histogram, Unit: "1", Labels: []string{"site"}, From: "completed drybacks",
		Help: "Depth of completed drybacks of all zones of a site, as a share of the peak.", Buckets: []float64{0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5}},
	{Name: "rhizostat_advice_total", Type: Counter, Unit: "1", Labels: []string{"site", "action"}, From: "ledger",
		Help: "Advice issued, by action."},
	{Name: "rhizostat_decisions_total", Type: Counter, Unit: "1", Labels: []string{"site", "decision", "result"}, From: "desk",
		Help: "Decisions of people, by what they decided and what became of it; what cannot be read is under unreadable."},
	{Name: "rhizostat_decisions_asked_total", Type: Counter, Unit: "1", Labels: []string{"site"}, From: "ledger",
		Help: "Advice that asked a person for a decision."},
	{Name: "rhizostat_intake_messages_total", Type: Counter, Unit: "1", Labels: []string{"result", "reason"}, From: "intake and the zones' clocks",
		Help: "Messages received: accepted, partial (some signals refused) or refused, with the first reason; a reading that its zone's clock or queue does not take counts once more, as refused, or as partial where it was a double."},
	{Name: "rhizostat_broker_connected", Type: Gauge, Unit: "1", From: "link",
		Help: "1 while the broker is connected."},
	{Name: "rhizostat_standby", Type: Gauge, Unit: "1", From: "link",
		Help: "1 while this daemon waits, as a standby, for the end of another that serves its sites; it is then not connected and need not be."},
	{Name: "rhizostat_ledger_writable", Type: Gauge, Unit: "1", From: "ledger",
		Help: "1 while the ledger can be written; without it no advice can be approved."},
	{Name: "rhizostat_ledger_unreadable_records", Type: Gauge, Unit: "1", From: "ledger, at the start and at a reload",
		Help: "Advice and standing approvals of which a damaged ledger does not tell any more what they said; they are not in force and cannot be approved."},
	{Name: "rhizostat_zones", Type: Gauge, Unit: "1", Labels: []string{"site"}, From: "site files",
		Help: "Zones of the site."},
	{Name: "rhizostat_build_info", Type: Gauge, Unit: "1", Labels: []string{"version", "goversion"}, From: "build",
		Help: "1, with the version of the program."},
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
