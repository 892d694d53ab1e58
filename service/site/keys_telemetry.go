package site

import "rhizostat/policy/sensing"

// timeUnits are the forms in which foreign JSON may carry an instant.
var timeUnits = []string{"s", "ms", "us", "ns", "rfc3339"}

// signalNames are the signals as they stand on the wire, in their own order.
var signalNames = func() []string {
	names := make([]string, sensing.SignalCount)
	for i := range names {
		names[i] = sensing.Signals[i].Name
	}
	return names
}()

var telemetryKeys = []Key{
	{Name: "topic", Kind: Text, Derived: "a mistake, but with sparkplug", Doc: "Topic of the readings; a level {zone} or {probe} stands for an id of this site."},
	{Name: "zone", Kind: Text, Doc: "Zone that the topic belongs to, where no level names it."},
	{Name: "probe", Kind: Text, Derived: "signals of the zone as a whole", Doc: "Probe that the topic belongs to, where no level names it."},
	{Name: "climate", Kind: Text, Doc: "Climate that the topic belongs to."},
	{Name: "json", Kind: Section, Keys: jsonKeys(), Doc: "Signals out of a JSON message, each at a JSON Pointer (RFC 6901)."},
	{Name: "number", Kind: Section, Keys: numberKeys, Doc: "One signal out of a message that is a plain number."},
	{Name: "sparkplug", Kind: Section, Keys: sparkplugKeys, Doc: "Signals out of the Sparkplug B metrics of an edge node or of one of its devices."},
	{Name: "percent_is_hundredths", Kind: Flag, Default: "true", Source: "UCUM: % is one hundredth, unlike SenML's", Doc: "Whether the unit % of this entry means hundredths; false for numbers from 0 to 1 that are called %."},
}

func jsonKeys() []Key {
	keys := make([]Key, 0, sensing.SignalCount+1)
	for _, s := range sensing.Signals {
		keys = append(keys, Key{Name: s.Name, Kind: Section, Keys: fieldKeys, Doc: "Where the " + s.What + " is."})
	}
	return append(keys, Key{Name: "time", Kind: Section, Keys: timeKeys, Derived: "the time of arrival", Doc: "Where the reading's own time is."})
}

var fieldKeys = []Key{
	{Name: "at", Kind: Text, Required: true, Doc: "JSON Pointer to the number, such as /ec/bulk."},
	{Name: "unit", Kind: Text, Derived: "the signal's base unit", Doc: "Unit of the number."},
}

var timeKeys = []Key{
	{Name: "at", Kind: Text, Required: true, Doc: "JSON Pointer to the instant."},
	{Name: "unit", Kind: Choice, Options: timeUnits, Default: "rfc3339", Source: "RFC 3339", Doc: "Seconds, milliseconds, microseconds or nanoseconds since 1970, or text as RFC 3339 writes it."},
}

var numberKeys = []Key{
	{Name: "signal", Kind: Choice, Options: signalNames, Required: true, Doc: "The signal that the number is."},
	{Name: "unit", Kind: Text, Derived: "the signal's base unit", Doc: "Unit of the number."},
}

var sparkplugKeys = []Key{
	{Name: "group", Kind: Text, Required: true, Doc: "Sparkplug group id."},
	{Name: "edge_node", Kind: Text, Required: true, Doc: "Sparkplug edge node id."},
	{Name: "device", Kind: Text, Derived: "metrics of the edge node itself", Doc: "Sparkplug device id."},
	{Name: "metrics", Kind: Named, Required: true, FreeNames: true, Keys: numberKeys, Doc: "Signals by metric name; a level {zone} or {probe} of a name stands for an id of this site."},
}

var outputKeys = []Key{
	{Name: "sparkplug", Kind: Section, Required: true, Keys: sparkplugOutputKeys, Doc: "Setpoints as Sparkplug B commands (DCMD, or NCMD without a device)."},
	{Name: "zones", Kind: Texts, Default: `["*"]`, Source: "common practice, no source", Doc: "Zones whose setpoints go there; \"*\" is all of the site."},
}

var sparkplugOutputKeys = []Key{
	{Name: "group", Kind: Text, Required: true, Doc: "Sparkplug group id."},
	{Name: "edge_node", Kind: Text, Required: true, Doc: "Sparkplug edge node id."},
	{Name: "device", Kind: Text, Derived: "commands to the edge node itself", Doc: "Sparkplug device id."},
	{Name: "metrics", Kind: Section, Required: true, Keys: outputMetricKeys(), Doc: "Metric names by setpoint; {zone} in a name stands for the zone's id. Numbers are Double, seconds Int64 and instants DateTime, or what the birth certificate declares where they fit it; null is what is not in force."},
}

// outputNames are the plain setpoints of an advice.
var outputNames = []string{
	"first_shot_at", "last_shot_by", "trigger_water_content", "target_water_content", "shot_volume_ml",
	"run_time_s", "min_interval_s", "max_volume_ml", "drain_fraction", "valid_from", "valid_until",
}

func outputMetricKeys() []Key {
	keys := make([]Key, len(outputNames))
	for i, name := range outputNames {
		keys[i] = Key{Name: name, Kind: Text, Doc: "Metric that takes " + name + "."}
	}
	return keys
}
