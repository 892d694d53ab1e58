package site

import "rhizostat/policy/sensing"

var zoneKeys = []Key{
	{Name: "substrate", Kind: Text, Required: true, Doc: "Name under substrates, or of a built-in substrate."},
	{Name: "container", Kind: Text, Required: true, Doc: "Name under containers."},
	{Name: "container_count", Kind: Count, Low: 1, High: 1e6, Default: "1", Source: "every volume is per container; the count is for people", Doc: "Number of containers that the zone's valve waters."},
	{Name: "emitters", Kind: Section, Keys: emitterKeys, Derived: "setpoints without run times", Doc: "What waters one container."},
	{Name: "climate", Kind: Text, Derived: "a zone that lives on its own learned daily course", Doc: "Id under climates."},
	{Name: "day", Kind: Section, Keys: dayKeys, Doc: "When the irrigation day starts and its daytime ends."},
	{Name: "probes", Kind: Named, Required: true, Keys: probeKeys, Doc: "The zone's probes, by id; 1 to 16."},
	{Name: "quorum", Kind: Count, Low: 1, High: 16, Derived: "half of the zone's probes, rounded up", Source: "common practice, no source", Doc: "Healthy probes needed for an irrigate advice."},
	{Name: "feed_ec", Kind: Number, Unit: "mS/cm", Low: 0, High: 20, Derived: "what feed_ec telemetry says, or nothing", Doc: "Electrical conductivity of the feed at 25 Cel."},
	{Name: "band", Kind: Section, Keys: bandKeys, Doc: "Where the water content should be, as physics or as plain numbers."},
	{Name: "stages", Kind: List, Keys: stageKeys, Doc: "Bands from dates on, in the order of their dates."},
	{Name: "aeration", Kind: Section, Keys: aerationKeys, Doc: "When the zone counts as saturated."},
	{Name: "limits", Kind: Section, Keys: limitKeys, Doc: "Hard limits per container that no advice exceeds."},
	{Name: "priorities", Kind: Section, Keys: priorityKeys, Like: "priorities", Derived: "the site's", Doc: "What a good day of this zone is made of; a key left out is the site's."},
	{Name: "approval", Kind: Section, Keys: approvalKeys, Doc: "When advice comes and how it is approved."},
	{Name: "percent_is_hundredths", Kind: Flag, Default: "false", Source: "RFC 8428 section 12.1: SenML's % is a ratio, 1 is the whole", Doc: "Read SenML's % of this zone as hundredths, for devices that send 52.3 where the standard says 0.523."},
}

var emitterKeys = []Key{
	{Name: "per_container", Kind: Count, Low: 1, High: 1000, Default: "1", Source: "common practice, no source", Doc: "Emitters that water one container."},
	{Name: "flow_l_per_h", Kind: Number, Unit: "L/h", Low: 0.05, High: 2000, Required: true, Doc: "Flow of one emitter."},
}

var dayKeys = []Key{
	{Name: "start", Kind: DayTime, Options: []string{"sunrise"}, Default: "sunrise", Source: "common practice, no source", Doc: "When the irrigation day starts; a local time such as lights-on, or sunrise."},
	{Name: "end", Kind: DayTime, Options: []string{"sunset"}, Default: "sunset", Source: "common practice, no source", Doc: "When its daytime ends; a local time such as lights-off, or sunset."},
}

var probeKeys = []Key{
	{Name: "height_cm", Kind: Number, Unit: "cm", Low: 0, High: 60, Doc: "Height of the middle of the sensing part above the container's bottom; needed but for calibration weight."},
	{Name: "length_cm", Kind: Number, Unit: "cm", Low: 0, High: 60, Default: "0", Source: "a probe that lies flat senses at one height", Doc: "Vertical extent of the sensing part."},
	{Name: "calibration", Kind: Choice, Options: sensing.CalibrationKinds, Derived: "the probe's own water_content", Doc: "How permittivity or weight becomes water content."},
	{Name: "polynomial", Kind: Numbers, Doc: "Water content as a polynomial of the input, constant term first, for calibration polynomial."},
	{Name: "points", Kind: Points, Unit: "input and m3/m3", Doc: "Measured pairs [input, water content], both rising, for calibration points."},
	{Name: "input", Kind: Choice, Options: []string{"permittivity", "water_content"}, Default: "permittivity", Source: "calibrations are published for permittivity", Doc: "What polynomial or points start from; water_content corrects what the probe sends."},
	{Name: "tare_kg", Kind: Number, Unit: "kg", Low: 0, High: 1000, Doc: "Weight of the container with dry substrate, for calibration weight."},
	{Name: "crop_kg", Kind: Number, Unit: "kg", Low: 0, High: 1000, Default: "0", Source: "a young plant weighs little beside its container", Doc: "Allowance for the plant, for calibration weight."},
	{Name: "pore_ec", Kind: Choice, Options: []string{sensing.Hilhorst, sensing.Rhoades}, Derived: "pore EC only where the probe sends it", Doc: "How bulk EC becomes pore EC."},
	{Name: "hilhorst_offset", Kind: Number, Low: 1, High: 10, Derived: "the model's own offset", Source: "Hilhorst 2000", Doc: "Permittivity of the dry substrate in the hilhorst model."},
	{Name: "rhoades_e", Kind: Number, Low: 0, High: 10, Doc: "Coefficient of the water content squared in the rhoades model."},
	{Name: "rhoades_f", Kind: Number, Low: 0, High: 10, Doc: "Coefficient of the water content in the rhoades model."},
	{Name: "rhoades_surface_ec", Kind: Number, Unit: "mS/cm", Low: 0, High: 5, Doc: "Conductivity of the solids' surface in the rhoades model."},
	{Name: "bulk_ec_at_probe", Kind: Flag, Default: "false", Source: "common practice, no source", Doc: "Whether bulk_ec comes at the substrate's temperature rather than at 25 Cel."},
	{Name: "ec_per_kelvin", Kind: Number, Unit: "1/K", Low: 0.001, High: 0.03, Derived: "the table of ISO 7888", Source: "ISO 7888", Doc: "Linear change of EC by kelvin, for bulk_ec_at_probe."},
}

var bandKeys = []Key{
	{Name: "full_point", Kind: Number, Unit: "m3/m3", Low: 0.02, High: 0.99, Derived: "the full point that physics gives", Doc: "Upper edge as a plain number; min_air_filled_porosity then has no say."},
	{Name: "refill_point", Kind: Number, Unit: "m3/m3", Low: 0.01, High: 0.98, Derived: "the refill point that physics gives", Doc: "Lower edge as a plain number; max_suction_kpa then has no say."},
	{Name: "min_air_filled_porosity", Kind: Number, Unit: "m3/m3", Low: 0, High: 0.6, Default: "0.15", Source: "Department of Agriculture Western Australia, potting mixes: a well-drained mix has at least 0.15", Doc: "Air that the full point leaves; the full point is container capacity where that leaves more."},
	{Name: "max_suction_kpa", Kind: Number, Unit: "kPa", Low: 0.5, High: 30, Default: "5", Source: "de Boodt & Verdonck 1972 (memory): easily available water ends at 5 kPa", Doc: "Volume-mean suction at the refill point."},
	{Name: "overnight_dryback", Kind: Number, Unit: "m3/m3", Low: 0, High: 0.6, Derived: "half the width of the band, at most 0.08", Source: "common practice, no source", Doc: "Fall of water content wanted from the last peak of a day to the first shot of the next."},
	{Name: "drain_fraction", Kind: Number, Low: 0, High: 0.8, Default: "0.10", Source: "University of Florida EDIS EP529: 0.15 or less; 0.10 to 0.20 in nurseries (memory)", Doc: "Share of the applied water wanted as drain."},
	{Name: "pore_ec", Kind: Number, Unit: "mS/cm", Low: 0.1, High: 20, Derived: "a pore EC that is watched and not steered", Doc: "Pore EC wanted."},
}

var stageKeys = []Key{
	{Name: "name", Kind: Text, Doc: "What people call the stage."},
	{Name: "from", Kind: Date, Required: true, Doc: "Local date from which the stage's band holds."},
	{Name: "band", Kind: Section, Required: true, Keys: bandKeys, Like: "zones.*.band", Doc: "What is different from the zone's band; a key left out is the zone's."},
}

var aerationKeys = []Key{
	{Name: "critical_air_filled_porosity", Kind: Number, Unit: "m3/m3", Low: 0.02, High: 0.5, Default: "0.10", Source: "Acta Agrophysica 10(1):113-120, 2007: critical air content of a bed in containers", Doc: "Air below which roots lack oxygen."},
	{Name: "tolerated_share", Kind: Number, Low: 0, High: 0.95, Default: "0.5", Source: "common practice, no source", Doc: "Share of the root volume that may have less air than that before the zone counts as saturated."},
}

var limitKeys = []Key{
	{Name: "max_shot_ml", Kind: Number, Unit: "mL", Low: 1, High: 1e6, Derived: "5 % of the container's volume", Source: "common practice, no source", Doc: "Largest shot."},
	{Name: "max_daily_ml", Kind: Number, Unit: "mL", Low: 1, High: 1e7, Derived: "one and a half times the water the container holds between container capacity and 10 kPa, or half its volume where that is more", Source: "Rutgers FS812: a container's available water lasts 1 to 2 days; half as much again for drain. In coarse substrate it lasts for hours (common practice, no source)", Doc: "Most water in an irrigation day."},
	{Name: "min_interval_min", Kind: Number, Unit: "min", Low: 1, High: 1440, Default: "15", Source: "a container's fast drainage ends in 10 to 15 minutes (Purdue University, pore space of soilless substrates)", Doc: "Shortest time from the start of one shot to the start of the next."},
}

var approvalKeys = []Key{
	{Name: "issue_before_day", Kind: Duration, Low: 1 * 3600, High: 23 * 3600, Default: "12h", Source: "the evening before, so that a person decides once and in daylight", Doc: "How long before the day starts its advice comes."},
	{Name: "decide_before_first_shot", Kind: Duration, Low: 60, High: 6 * 3600, Default: "10m", Source: "common practice, no source", Doc: "How long before the first shot a decision must be there."},
	{Name: "standing", Kind: Section, Keys: standingKeys, Doc: "Approvals that cover later advice too."},
}

var standingKeys = []Key{
	{Name: "allowed", Kind: Flag, Default: "false", Source: "a person decides on each day unless the site says otherwise", Doc: "Whether a decision may cover later advice that stays inside it."},
	{Name: "max_days", Kind: Count, Low: 1, High: 31, Default: "7", Source: "common practice, no source", Doc: "How many days a decision may cover at most."},
}
