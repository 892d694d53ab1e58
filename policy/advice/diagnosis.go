package advice

// evidence holds the sentences of the diagnosis: what speaks for a cause of
// trouble, with the numbers before and now, and how long the container will do.
var evidence = [...]Entry{
	{"shots-lost", KindEvidence, "Reported shots did not show in the water content: {count:count} in a row since {since:date}."},
	{"shots-lift-less", KindEvidence, "Shots lift the water content by {now:share} of what their volume makes of the container, where {before:share} was usual."},
	{"probe-answers-less", KindEvidence, "Probe {probe:name} rises by {now:share} of what the others do at a shot, where {before:share} was usual, and goes on falling as the crop drinks."},
	{"stays-less", KindEvidence, "Of the water reported, {now:share} is to be found in the container or was drunk, where {before:share} was usual."},
	{"no-fall", KindEvidence, "With no watering reported the zone should have fallen by {expected:water}; it fell by {fell:water}."},
	{"rose-instead", KindEvidence, "With no watering reported the zone should have fallen by {expected:water}; it rose by {rose:water}."},
	{"rise-not-reported", KindEvidence, "The water content rose at {at:date} by {rise:water}, and no watering was reported."},
	{"probe-ill", KindEvidence, "Probe {probe:name} is {health:name}."},
	{"uptake-by-day", KindEvidence, "By day the crop drinks {times:share} of what it usually does at the same demand."},
	{"uptake-by-night", KindEvidence, "By night the crop drinks {times:share} of what it usually does at the same demand."},
	{"afternoon-droop", KindEvidence, "At the same demand the crop drinks in the afternoon {now:share} of what it does in the morning, where {before:share} was usual."},
	{"rise-per-volume", KindEvidence, "Over the day shots with room to stay lifted the water content by {now:share} of what their volume makes of the container, where {before:share} was usual."},
	{"plateau", KindEvidence, "Drainage ends at {now:water}, where {before:water} was usual."},
	{"peak", KindEvidence, "The day's highest water content is {now:water}, where {before:water} was usual."},
	{"level-at-rest", KindEvidence, "The highest water content of the day at rest, 40 min and more after any water, is {now:water}, where {before:water} was usual."},
	{"drain-time", KindEvidence, "Water above capacity takes {now:span} to drain by two thirds, where {before:span} was usual."},
	{"root-zone-warmth", KindEvidence, "The substrate's warmest hour is {now:temperature} over the air's warmest, where {before:temperature} was usual; where no air temperature is told it is its own."},
	{"salt-index-moved", KindEvidence, "Bulk EC, less what the water content does to it, is {times:share} of what it usually is."},
	{"pore-ec-moved", KindEvidence, "Pore EC is {now:ec}, where {before:ec} was usual."},
	{"drain-moved", KindEvidence, "Beyond what the crop left over, {now:share} of what was given drains, where {before:share} was usual."},
	{"saturated-hours", KindEvidence, "The zone was saturated for {now:number} hours of the day, where {before:number} were usual."},
	{"probes-apart", KindEvidence, "The probes are {now:water} from their mean, where {before:water} was usual."},
	{"relapse", KindEvidence, "This is the trouble that was there before the roots were disturbed: {cause:name} has come back."},
	{"roots-left-alone", KindEvidence, "Leave the roots alone while they lack air: disturbing a saturated root ball makes it worse. Let it dry first."},
	{"too-early-to-tell", KindReason, "{days:count} of the {needed:count} days it takes to know this zone have passed; until then nothing is said of its roots, only of ill probes and of water that does not come."},
	{"no-evidence-alone", KindEvidence, "Nothing speaks for {cause:name} alone; it fits what is seen no worse than the others."},
	{"outgrown", KindEvidence, "The crop has outgrown its container: from the last shot to the next day's first it drinks about {drinks:volume}, and between full and refill point the container holds {held:volume}. Move up; do not wait for roots to circle."},
	{"outgrows", KindEvidence, "In about {days:number} days the crop outgrows its container ({low:number} to {high:name} days): what it drinks from the last shot to the next day's first grows towards the {held:volume} between full and refill point. Move up before then, and before roots circle."},
}
