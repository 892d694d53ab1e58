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
	return []Reason{Say("inspect-band"), Say("look-band")}
}

// InspectStage says that the container cannot hold the band of the stage that begins.
func InspectStage(stage string) []Reason {
	return []Reason{Say("inspect-stage", Name(stage)), Say("look-band")}
}

// InspectMoved says that the roots may stand in another container than is known, with its
// probability (0 to 1) and what to ask.
func InspectMoved(probability float64, look Reason) []Reason {
	return []Reason{Say("inspect-moved", Share(probability)), look}
}

// InspectVolume says that the container may not be the one that was told, and why.
func InspectVolume(why Reason) []Reason {
	return []Reason{Say("inspect-volume"), Say("look-volume"), why}
}

// InspectCause says that a cause of trouble is likely, with its probability
// (0 to 1) and the cheapest look at it.
func InspectCause(cause string, probability float64, look Reason) []Reason {
	return []Reason{Say("inspect-cause", Name(cause), Share(probability)), look}
}
