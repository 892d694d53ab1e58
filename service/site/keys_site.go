package site

// document is the whole table: the keys of a site file.
var document = Key{Kind: Section, Keys: []Key{
	{Name: "site", Kind: Identifier, Required: true, Doc: "The site's id, as it stands in topics and metrics."},
	{Name: "time_zone", Kind: Text, Required: true, Doc: "Name of the site's time zone in the IANA database, such as Europe/Madrid or UTC; all local times of the file are in it."},
	{Name: "latitude", Kind: Number, Unit: "degrees north", Low: -90, High: 90, Derived: "a site whose days all go by the clock", Doc: "Where the site lies; needed for sunrise and sunset."},
	{Name: "longitude", Kind: Number, Unit: "degrees east", Low: -180, High: 180, Derived: "a site whose days all go by the clock", Doc: "Where the site lies; needed for sunrise and sunset."},
	{Name: "substrates", Kind: Named, Keys: substrateKeys, Doc: "What containers are filled with, by name; a zone may also name a built-in substrate."},
	{Name: "containers", Kind: Named, Keys: containerKeys, Doc: "Shapes of containers, by name."},
	{Name: "climates", Kind: Named, Keys: climateKeys, Doc: "Places whose air and light are measured once for several zones, by id."},
	{Name: "priorities", Kind: Section, Keys: priorityKeys, Doc: "What a good day is made of, for all zones; a zone may have its own."},
	{Name: "zones", Kind: Named, Required: true, Keys: zoneKeys, Doc: "The zones, by id."},
	{Name: "telemetry", Kind: List, Keys: telemetryKeys, Doc: "Foreign topics that carry readings, beside the native ones."},
	{Name: "setpoint_outputs", Kind: List, Keys: outputKeys, Doc: "Where approved setpoints go beside the native topics. Take an output or a metric of it out by a reload (SIGHUP) while the broker is connected, which takes back what was told there; after a restart without it nobody does."},
	{Name: "deciders", Kind: Named, Keys: deciderKeys, Derived: "a broker whose access list alone says who decides", Doc: "People whose signed decisions count; with at least one, unsigned decisions are refused."},
}}

var substrateKeys = []Key{
	{Name: "total_porosity", Kind: Number, Unit: "m3/m3", Low: 0.2, High: 0.99, Required: true, Doc: "Pore share of the substrate's volume as it lies in the container."},
	{Name: "retention", Kind: Section, Required: true, Keys: retentionKeys, Doc: "The water retention curve: van Genuchten's four parameters, or measured points that are fitted."},
	{Name: "bulk_density_g_per_cm3", Kind: Number, Unit: "g/cm3", Low: 0.02, High: 2, Doc: "Dry mass by volume; the malicki calibration needs it."},
	{Name: "source", Kind: Text, Doc: "Where the numbers come from, for people; check prints it."},
}

var retentionKeys = []Key{
	{Name: "theta_r", Kind: Number, Unit: "m3/m3", Low: 0, High: 0.6, Doc: "Residual water content."},
	{Name: "theta_s", Kind: Number, Unit: "m3/m3", Low: 0.1, High: 0.99, Doc: "Saturated water content, at most the total porosity."},
	{Name: "alpha_per_kpa", Kind: Number, Unit: "1/kPa", Low: 0.001, High: 200, Doc: "Scale; a value in 1/cm times 10.197, a value in 1/hPa times 10."},
	{Name: "n", Kind: Number, Low: 1.01, High: 20, Doc: "Shape."},
	{Name: "points", Kind: Points, Unit: "kPa and m3/m3", Doc: "Measured pairs [suction in kPa, water content]; three or more at different suctions above 0, best at 1, 5 and 10 kPa among them."},
}

var containerKeys = []Key{
	{Name: "height_cm", Kind: Number, Unit: "cm", Low: 2, High: 60, Required: true, Doc: "Height of the fill, not of the rim."},
	{Name: "top_diameter_cm", Kind: Number, Unit: "cm", Low: 1, High: 300, Doc: "Inner diameter at the top of the fill, of a round container."},
	{Name: "bottom_diameter_cm", Kind: Number, Unit: "cm", Low: 1, High: 300, Derived: "the top's", Doc: "Inner diameter at the bottom, of a round container."},
	{Name: "length_cm", Kind: Number, Unit: "cm", Low: 1, High: 300, Doc: "Inner length at the top of the fill, of a rectangular container, bag or slab."},
	{Name: "width_cm", Kind: Number, Unit: "cm", Low: 1, High: 300, Doc: "Inner width at the top of the fill, of a rectangular container, bag or slab."},
	{Name: "bottom_length_cm", Kind: Number, Unit: "cm", Low: 1, High: 300, Derived: "the top's", Doc: "Inner length at the bottom, where a rectangular container tapers."},
	{Name: "bottom_width_cm", Kind: Number, Unit: "cm", Low: 1, High: 300, Derived: "the top's", Doc: "Inner width at the bottom, where a rectangular container tapers."},
	{Name: "wall", Kind: Choice, Options: []string{"solid", "fabric", "air-pruning"}, Default: "solid", Source: "common practice, no source", Doc: "What the side is made of; fabric and air-pruning walls lose water of their own."},
}

// climateKeys is empty: a climate has nothing to be told yet. Its id is what
// topics and zones name.
var climateKeys = []Key{}

var priorityKeys = []Key{
	{Name: "band", Kind: Number, Low: 0, High: 10, Default: "1", Source: "a weight relative to its default", Doc: "Weight of time outside the band."},
	{Name: "saturation", Kind: Number, Low: 0, High: 10, Default: "1", Source: "a weight relative to its default", Doc: "Weight of saturated time."},
	{Name: "overnight_dryback", Kind: Number, Low: 0, High: 10, Default: "1", Source: "a weight relative to its default", Doc: "Weight of an overnight dryback off its target."},
	{Name: "drain_fraction", Kind: Number, Low: 0, High: 10, Default: "1", Source: "a weight relative to its default", Doc: "Weight of a drain fraction off its target."},
	{Name: "pore_ec", Kind: Number, Low: 0, High: 10, Default: "1", Source: "a weight relative to its default", Doc: "Weight of a pore EC off its target."},
	{Name: "shots", Kind: Number, Low: 0, High: 10, Default: "1", Source: "a weight relative to its default", Doc: "Weight of the number of shots."},
}

var deciderKeys = []Key{
	{Name: "public_key", Kind: Text, Required: true, Doc: "Ed25519 public key, 32 bytes in base64url without padding (RFC 8037)."},
	{Name: "zones", Kind: Texts, Default: `["*"]`, Source: "common practice, no source", Doc: "Zones the person decides on; \"*\" is all of the site."},
	{Name: "may", Kind: Texts, Options: []string{"approve", "reject", "withdraw"}, Default: "[approve, reject, withdraw]", Source: "common practice, no source", Doc: "What the person may do."},
}
