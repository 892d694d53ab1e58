package advice

import "time"

// UsualCautions are what to mind with an advice of this action.
func UsualCautions(action Action) []Reason {
	list := []Reason{Say("advisory")}
	switch action {
	case Irrigate:
		list = append(list, Say("crop-loss"), Say("electrics"), Say("run-off"))
	case Leach:
		list = append(list, Say("crop-loss"), Say("electrics"), Say("leach-water"), Say("run-off"))
	case Withhold:
		list = append(list, Say("crop-loss"), Say("withheld-water"))
	case Inspect:
		list = append(list, Say("electrics"))
	}
	return list
}

// InspectQuorum says that too few probes are healthy; probe names the first to
// look at, "" where none stands out.
func InspectQuorum(healthy, needed int, probe string) []Reason {
	list := []Reason{Say("inspect-quorum", Count(healthy), Count(needed))}
	if probe != "" {
		list = append(list, Say("look-probe", Name(probe)))
	}
	return append(list, Say("look-lift"))
}

// InspectSilent says that all probes are silent.
func InspectSilent(since time.Duration) []Reason {
	return []Reason{Say("inspect-silent", Span(since)), Say("look-lift")}
}

// InspectImpossible says that the readings cannot be true; waterContent in
// m3/m3.
func InspectImpossible(waterContent float64, probe string) []Reason {
	list := []Reason{Say("inspect-impossible", Water(waterContent))}
	if probe != "" {
		list = append(list, Say("look-probe", Name(probe)))
	}
	return append(list, Say("look-lift"))
}

// InspectLimits says that the site's limits leave no shot to give.
func InspectLimits() []Reason {
	return []Reason{Say("inspect-limits"), Say("look-site-file")}
}

// InspectBand says that a new container cannot hold the band that was told.
func InspectBand() []Reason {
	return []Reason{Say("inspect-band"), Say("look-site-file")}
}

// InspectCause says that a cause of trouble is likely, with its probability
// (0 to 1) and the cheapest look at it, which LookAt gives.
func InspectCause(cause string, probability float64, look Reason) []Reason {
	return []Reason{Say("inspect-cause", Name(cause), Share(probability)), look}
}

// LookAt is the cheapest look that tells whether a cause of trouble is there;
// since is when it began and probe the one that is suspect, where one is.
func LookAt(cause, probe string, since time.Time, loc *time.Location) Reason {
	switch cause {
	case "root-bound", "compaction":
		return Say("look-roots")
	case "oversaturation", "edge-channelling":
		return Say("look-drain")
	case "emitter-fault":
		return Say("look-emitter")
	case "valve-stuck-open", "valve-stuck-closed":
		return Say("look-valve")
	case "sensor-fault":
		if probe != "" {
			return Say("look-probe", Name(probe))
		}
	case "root-zone-heat":
		return Say("look-temperature")
	case "salt-build-up":
		return Say("look-ec")
	case "unreported-watering", "weather-or-growth":
		return Say("look-records", Date(since, loc))
	}
	return Say("look-lift")
}
