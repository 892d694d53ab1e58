package exposition

// Sample is what one zone shows: its latest state and its standing advice. NaN
// means not known; a number that is not known is not shown.
type Sample struct {
	Site, Zone string

	WaterContent          float64 // m3/m3
	AirFilledPorosity     float64 // m3/m3
	FullPoint             float64 // m3/m3
	RefillPoint           float64 // m3/m3
	DrybackDepth          float64 // m3/m3, last completed
	OvernightDrybackDepth float64 // m3/m3
	AerationMargin        float64 // 1 open, 0 critical, below 0 worse
	Stability             float64 // 0 to 1
	PoreEC                float64 // mS/cm at 25 Cel
	AdviceConfidence      float64 // 0 to 1

	// Counters since the zone was first seen.
	SaturationS, InBandS, AboveBandS, BelowBandS float64
	UptakeML, IrrigationML, DrainML              float64 // per container

	SaturationS24h   float64 // s, of the last 24 h
	LastReadingUnixS float64 // s since 1970, of the newest accepted reading of any probe
	SetAside         bool    // a fault of the program has stopped this zone

	Pending         bool    // an advice waits for a person
	DecideByUnixS   float64 // s since 1970, of the advice that waits
	ForecastCovered float64 // share of past forecasts whose interval held what came

	ForecastErrors []HorizonError
	Probes         []ProbeHealth
	Findings       []Finding
}

// HorizonError is the running mean absolute error of the forecast at one horizon.
type HorizonError struct {
	Horizon string  // as a duration: 24h
	Error   float64 // m3/m3
}

// ProbeHealth says whether a probe is healthy.
type ProbeHealth struct {
	Probe   string
	Healthy bool
}

// Finding is a possible cause of trouble.
type Finding struct {
	Cause       string
	Probability float64
}

// Source gives a sample of every zone, one after the other, in an order that does
// not change while the daemon runs. It is called once for each instrument of a
// zone, while other goroutines work; it must hold no lock across a yield. The
// sample may be used again for the next zone.
type Source func(yield func(*Sample) bool)
