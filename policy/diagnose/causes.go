package diagnose

// prediction is how far a cause moves a feature from the zone's own baseline,
// in the feature's unit, and how much that differs from case to case.
type prediction struct {
	feature Feature
	shift   float64
	spread  float64
	sure    float64 // how likely it is to show at all in such a case, 0 to 1
}

// predictions say what each cause does to the features of a day. A feature that
// a cause is silent on stays where it was. The directions are argued with each
// cause; sizes are those of a case that a grower would want to know of (common
// practice, no source, where none is named).
var predictions = [causeCount][]prediction{
	// Roots fill pores: less water is held, so peaks and plateaus lie lower however
	// much is given; more of a shot runs down along the wall, so it lifts less and
	// more drains; what stays is used up sooner, so uptake falls off in the
	// afternoon. Roots of container crops take 0.1 m3/m3 and more of the pore space
	// in the long run (from memory). What is still given as before stands over what the
	// container holds until it has drained: behind blocked emitters nothing does, nor where
	// it runs past.
	RootBound: {{Over, 0.027, 0.012, 0.6}, {Peak, -0.07, 0.05, 0.9}, {Plateau, -0.07, 0.05, 0.9}, {Rise, -0.7, 0.45, 0.9}, {Drained, 0.3, 0.3, 0.4}, {Droop, -0.1, 0.15, 0.4}},
	// Crushed pores are finer: they hold more at the same suction, though they are fewer,
	// so a container that is filled comes to rest higher, by less than where water stands;
	// they drain more slowly, which shows only where water drains in sight of the probe;
	// roots find less air and drink less.
	Compaction: {{DrainTime, 0.4, 0.5, 0.4}, {Plateau, 0.05, 0.03, 0.7}, {Peak, 0.05, 0.03, 0.7}, {Rest, 0.05, 0.03, 0.7}, {UptakeDay, -0.15, 0.25, 0.4}},
	// Water stands: peaks and plateaus lie higher, less drains, and roots without
	// oxygen take less up within days (harm in 6 to 48 h, general plant physiology;
	// from memory). A peak may be water on its way down, a level at rest is not.
	Oversaturation: {{Peak, 0.10, 0.06, 0.9}, {Rest, 0.10, 0.06, 0.9}, {Plateau, 0.10, 0.07, 0.9}, {WetHours, 8, 6, 0.4}, {UptakeDay, -0.25, 0.4, 0.4}, {Drained, -0.12, 0.12, 0.4}},
	// A gap along the wall takes a share of each shot to the drain: it lifts less and
	// more drains, while what the substrate can hold is as before. Less fresh water
	// mixes in, so salt stays.
	EdgeChannelling: {{Rise, -0.7, 0.45, 0.9}, {Drained, 0.3, 0.15, 0.9}, {Peak, -0.03, 0.03, 0.4}, {PoreEC, 0.15, 0.2, 0.4}},
	// Less water comes than is reported: shots lift less and less drains.
	// Where drain is told the water of a day can be accounted for: what drained, was
	// drunk or is stored has come. One blocked emitter of many does not show there.
	EmitterFault: {{Rise, -0.7, 0.45, 0.9}, {Account, -0.55, 0.3, 0.7}, {Drained, -0.15, 0.1, 0.4}, {Peak, -0.05, 0.05, 0.4}, {Scatter, 0.02, 0.03, 0.4}, {PoreEC, 0.15, 0.2, 0.4}},
	// Water never stops: no dryback, and more drains than is reported given. A zone that
	// drains meanwhile falls for that.
	ValveStuckOpen: {{Peak, 0.03, 0.03, 0.4}, {Account, 0.8, 0.5, 0.7}, {Drained, 0.8, 0.5, 0.9}, {WetHours, 8, 8, 0.4}, {UptakeNight, -1.5, 0.6, 0.7}, {UptakeDay, -1.5, 0.8, 0.7}, {PoreEC, -0.15, 0.2, 0.4}},
	// None comes.
	ValveStuckClosed: {{Rise, -2.5, 0.5, 0.9}, {Account, -0.95, 0.15, 0.95}, {Drained, -0.15, 0.1, 0.4}, {Peak, -0.1, 0.08, 0.4}, {PoreEC, 0.2, 0.2, 0.4}},
	SensorFault:      {{Scatter, 0.03, 0.03, 0.9}},
	// A pot in the sun is warmer than its air; above 35 to 40 Cel roots slow down
	// (Handreck & Black 1984), which shows when it is warmest.
	RootZoneHeat: {{RootCel, 7, 3, 0.9}, {Droop, -0.1, 0.2, 0.4}},
	// Salt makes water dear at all hours (Maas & Hoffman 1977: yield falls in a
	// straight line above a threshold).
	// Where pore EC itself is not known, what goes with it tells. It builds up over days,
	// which a baseline that follows the crop would follow, too: what it has come to since
	// its least of the last days is held against what such days bring by themselves.
	SaltBuildUp: {{PoreEC, 0.3, 0.2, 0.9}, {Salt, 0.3, 0.2, 0.9}, {SaltRise, 0.45, 0.2, 0.9}},
	// Water that nobody reports is seen at once, see fast.go.
	UnreportedWatering: {},
	// Weather, growth and pruning change what is drunk and nothing else.
	WeatherOrGrowth: {{UptakeDay, 0, 0.4, 0.9}, {UptakeNight, 0, 0.6, 0.4}, {Droop, 0, 0.25, 0.4}, {RootCel, 0, 2, 0.4}},
}

// floors are the least standard deviation of a feature from day to day, in its
// unit: what healthy zones do by themselves (measured on the simulated quiet
// seasons and the three slabs; sizes rounded up). With these, of levels at rest on 3,188
// days of simulated zones without faults that are usually full, 4 in 1,000 lay more than two
// standard deviations above what was expected, where the tails of logT have 58.
var floors = [featureCount]float64{
	UptakeDay: 0.15, UptakeNight: 0.3, Droop: 0.2, Rise: 0.1, Plateau: 0.008, Peak: 0.009, Rest: 0.005, Over: 0.008, DrainTime: 0.25,
	RootCel: 1, PoreEC: 0.04, Salt: 0.04, SaltRise: 0.1, Drained: 0.06, Account: 0.08, WetHours: 1.5, Scatter: 0.01,
}
