package advice

// catalogue holds every sentence that reaches a person, with its code. A
// sentence says what is, what will be, or what the plan does about it, with the
// numbers behind it. Verbs: {what it is:unit}, unit being one of water, volume,
// share, ec, temperature, number, count, clock, date, span, name.
var catalogue = [...]Entry{
	// Why the plan is as it is: the course of the day.
	{"refill-point-ahead", KindReason, "The zone is at {now:water}; without more water it falls to its refill point {refill:water} at about {when:clock}."},
	{"below-refill-point", KindReason, "The zone will start the day at {start:water}, below its refill point {refill:water}; it is brought back in steps of {shot:volume} from {first:clock} on, so that the substrate can take the water up."},
	{"first-shot-after-dryback", KindReason, "The first shot waits until {first:clock}: by then the zone has fallen to about {at:water}, {dryback:water} below its last peak."},
	{"rewet", KindReason, "From {first:clock} shots of {shot:volume} follow every {interval:span} until the zone reaches {target:water}, until {last:clock} at the latest; its full point is {full:water}."},
	{"hold", KindReason, "After that one shot of {shot:volume} is given whenever the zone is at or below {trigger:water}; by clock that is {count:count} shots in all."},
	{"single-shot", KindReason, "One shot of {shot:volume} at {at:clock} is enough: the crop is expected to drink {uptake:volume} until the next day starts."},
	{"last-shot-for-dryback", KindReason, "The last shot comes by {last:clock}, so that the zone falls by about {expected:water} overnight; wanted is {wanted:water}."},
	{"dryback-as-seen", KindReason, "The probes see about {share:share} of what the whole container loses: a dryback of {wanted:water} shows on them as {seen:water}."},
	{"dryback-out-of-reach", KindReason, "The overnight dryback will be about {expected:water} where {wanted:water} is wanted: the uptake between last and first shot does not allow more without leaving the band by day."},
	{"dryback-too-deep", KindReason, "The overnight dryback will be about {expected:water} where {wanted:water} is wanted: the crop drinks {night:volume} between the last shot and the next first one."},
	{"expected-uptake", KindReason, "The crop is expected to drink {uptake:volume} on this day, {low:volume} to {high:volume} in nine days of ten."},
	{"spread", KindReason, "By trigger the day can need up to {most:volume}, which is why the day's limit is above the {planned:volume} of the schedule."},

	// Drain and salt.
	{"drain-wanted", KindReason, "About {drain:volume} is expected to drain, {fraction:share} of what is given; wanted is {wanted:share}."},
	{"drain-in-hold", KindReason, "Water is left to drain while the substrate is full, not at the first shots: there it carries salt out instead of running past dry substrate."},
	{"drain-unavoidable", KindReason, "About {fraction:share} of what is given will drain where {wanted:share} is wanted: only {capture:share} of a shot stays in the container."},
	{"drain-out-of-reach", KindReason, "About {fraction:share} of what is given will drain where {wanted:share} is wanted: more would leave the zone above its full point {full:water} for long."},
	{"pore-ec-high", KindReason, "Pore EC is {now:ec} where {wanted:ec} is wanted; the drain fraction is raised to {fraction:share} to flush salt out over some days."},
	{"pore-ec-feed-bound", KindReason, "Pore EC is {now:ec} where {wanted:ec} is wanted, but the feed itself has {feed:ec}: draining cannot bring it below that, only another feed can."},
	{"pore-ec-low", KindReason, "Pore EC is {now:ec} where {wanted:ec} is wanted; the plan drains less, {fraction:share}."},
	{"salt-above-feed", KindReason, "Pore EC is {now:ec}, {times:number} times the feed's {feed:ec}: salt is building up, so the drain fraction is raised to {fraction:share}."},
	{"no-leach-in-recovery", KindReason, "Pore EC is {now:ec} where {wanted:ec} is wanted; the drain is not raised while the roots recover."},

	// Limits that bind.
	{"daily-limit-binds", KindReason, "The day's limit of {limit:volume} binds: the crop is expected to drink {uptake:volume}, and the zone will be below its refill point for about {below:span} by day. Allow more, or look at the container's size."},
	{"drain-limit-binds", KindReason, "More than half of what the last day gave has drained, and more would drain, too: the day gets at most {limit:volume}, though the zone will be below its refill point for about {below:span} by day. Look at where the water goes: past the root ball, along the wall, or out of a full container."},
	{"shot-limit-binds", KindReason, "The limits of {shot:volume} a shot and one shot in {interval:span} bind: the zone cannot be brought back faster, and will be below its refill point for about {below:span} by day."},
	{"approval-lead-binds", KindReason, "No shot is planned before {earliest:clock}, to leave a person time to decide; without that the first one would come earlier."},
	{"band-out-of-reach", KindReason, "About {share:share} of the daytime will be outside the band {refill:water} to {full:water}: the plan is the best of those tried, not a good one."},
	{"limit-allows-no-shot", KindReason, "The limits allow no shot: at most {shot:volume} a shot and {daily:volume} a day, of which {given:volume} has been given."},
	{"saturation-ahead", KindReason, "The zone will be saturated for about {span:span} of the day: it has less air than its roots need above {point:water}."},

	{"probes-may-read-low", KindReason, "Full, the container shows {shows:water} where its substrate should hold {holds:water}: the probes may read low. The full point and the saturation point are taken {low:water} lower, as these probes would show them; a second probe or a weighed container settles it."},

	// Withholding.
	{"withhold-wet", KindReason, "The zone is at {now:water}, above its full point {full:water}; no water until it falls to {trigger:water}."},
	{"withhold-saturated", KindReason, "The zone is at {now:water} and saturated: above {point:water} the roots lack air. No water until it falls to {trigger:water}."},
	{"withhold-enough", KindReason, "The zone stays above its refill point {refill:water} without water: it is expected to fall from {now:water} to {end:water} by the next day. No water until then, or until it falls to {trigger:water}."},

	// Recovery, change, standing.
	{"recovery", KindReason, "The roots are recovering: the band is kept narrower, {refill:water} to {full:water}, the overnight dryback smaller, {dryback:water}, and changes small, until the crop drinks predictably again."},
	{"same-as-before", KindReason, "The numbers are those of the plan before: changing them would gain little."},
	{"changed-shot", KindReason, "Against the plan before, a shot goes from {before:volume} to {after:volume}."},
	{"changed-first-shot", KindReason, "Against the plan before, the first shot moves from {before:clock} to {after:clock}."},
	{"changed-last-shot", KindReason, "Against the plan before, the last shot moves from {before:clock} to {after:clock}."},
	{"changed-volume", KindReason, "Against the plan before, the day's schedule goes from {before:volume} to {after:volume}."},
	{"superseded-materially", KindReason, "This replaces the plan for the day: keeping it would cost {kept:number} where this one costs {best:number}, in hours outside the band or their like."},
	{"flow-unknown", KindReason, "The emitters' flow is not told, so no run times are given: the controller must turn {shot:volume} into a time itself."},

	// What the guard did.
	{"guard-shot-limit", KindGuard, "The guard lowered a shot from {was:volume} to {now:volume}: the site allows at most {limit:volume}."},
	{"guard-daily-limit", KindGuard, "The guard lowered the day's volume from {was:volume} to {now:volume}: the site allows at most {limit:volume} a day."},
	{"guard-interval", KindGuard, "The guard widened the time between shots from {was:span} to {now:span}: the site asks for at least {limit:span}."},
	{"guard-close-shots", KindGuard, "The guard took {count:count} shots out of the schedule: they came sooner than {limit:span} after the one before."},
	{"guard-window", KindGuard, "The guard took {count:count} shots out of the schedule and cut the time for shots to {from:date} until {until:date}: the rest lay outside."},
	{"guard-schedule-over", KindGuard, "The guard took {count:count} shots from the end of the schedule: they would have gone over the day's {limit:volume}."},
	{"guard-uptake", KindGuard, "The guard lowered the day's volume from {was:volume} to {now:volume}: the container can hold {room:volume} more and the crop may drink {uptake:volume}; the rest would only drain."},
	{"guard-shot-room", KindGuard, "The guard lowered a shot from {was:volume} to {now:volume}: more than {share:share} of the container's volume at once runs through."},
	{"guard-target", KindGuard, "The guard lowered the target from {was:water} to {now:water}: a target above the full point or out of the container's reach would keep the water running."},
	{"guard-trigger", KindGuard, "The guard lowered the trigger from {was:water} to {now:water}, to lie below the target."},
	{"guard-probe-trigger", KindGuard, "The guard lowered the trigger of probe {probe:name} from {was:water} to {now:water}: it must lie where water can be."},
	{"guard-drain", KindGuard, "The guard lowered the drain fraction from {was:share} to {now:share}."},
	{"guard-leach", KindGuard, "The guard turned leaching into plain watering: {why:name}."},
	{"guard-run-time", KindGuard, "The guard lowered run times to what the emitters' flow makes of the volume."},
	{"guard-withhold", KindGuard, "The guard took {was:volume} out of an advice that withholds water."},
	{"guard-nothing-left", KindGuard, "After the guard's limits no shot is left: no water until {until:date}, or until the zone falls to {trigger:water}."},
	{"guard-air", KindGuard, "The guard holds water back: the zone is at {now:water}, and above {point:water} its roots lack air."},
	{"guard-quorum", KindGuard, "The guard stopped the plan: too few probes are healthy to know the zone's water content."},
	{"guard-stale", KindGuard, "The guard stopped the plan: the newest accepted reading is {age:span} old, and at most {limit:span} is allowed."},
	{"guard-impossible", KindGuard, "The guard stopped the plan: a water content of {now:water} is not possible in a substrate with a total porosity of {porosity:water}."},
	{"guard-ec", KindGuard, "The guard turned leaching into plain watering: an EC of {ec:ec} is not to be believed."},
	{"guard-clock", KindGuard, "The guard stopped the plan: its day ends at {until:date}, which is not after now, {now:date}."},
	{"guard-settings", KindGuard, "The guard stopped the plan: what it is held against is not usable ({what:name})."},
	{"guard-malformed", KindGuard, "The guard stopped the plan: {what:name} is not a number a controller can take."},

	// Inspect: why, and the cheapest look.
	{"inspect-quorum", KindInspect, "Too few probes are healthy: {healthy:count} where {needed:count} are needed. The zone's water content is not known well enough to water by it."},
	{"inspect-silent", KindInspect, "No probe has reported for {span:span}."},
	{"inspect-impossible", KindInspect, "The readings say {now:water}, which the substrate cannot hold; a probe is broken, moved or wrongly calibrated."},
	{"inspect-cause", KindInspect, "Something is likely wrong: {cause:name}, {probability:share}."},
	{"inspect-band", KindInspect, "The new container cannot hold the band that the site file asks for; until it says another, the band is what the physics of the new container allows."},
	{"inspect-limits", KindInspect, "The site's limits allow no shot of a size that can be given."},
	{"look-probe", KindInspect, "Look at probe {probe:name} first: its cable, whether it sits firm in the substrate, whether a hand-held reading agrees."},
	{"look-lift", KindInspect, "Lift two containers, one of them with a probe: a dry one is plainly lighter."},
	{"look-valve", KindInspect, "Stand at the valve for one shot: does it open, does it close, does water come at the last emitter?"},
	{"look-emitter", KindInspect, "Catch one shot of three emitters in cups and compare the volumes."},
	{"look-drain", KindInspect, "Look at the drain holes and under the container during a shot: when does the first water come, and how much?"},
	{"look-roots", KindInspect, "Slip one container off and look at the outside of the root ball without breaking it."},
	{"look-ec", KindInspect, "Measure the EC of feed and drain with a hand-held meter."},
	{"look-temperature", KindInspect, "Feel or measure the substrate on the container's sunny side at its warmest hour."},
	{"look-site-file", KindInspect, "Compare the limits in the site file with the emitters and the container."},
	{"look-records", KindInspect, "Ask who watered, pruned or moved anything here since {since:date}."},

	// Cautions.
	{"advisory", KindCaution, "This is advice: the person on site decides, and the controller keeps its own hard limits."},
	{"crop-loss", KindCaution, "Too much or too little water can cost the crop; look at the plants before and after a change."},
	{"electrics", KindCaution, "Keep water away from electrics, and mind wet floors."},
	{"run-off", KindCaution, "Drain water carries nutrients: collect it, and follow the local rules on run-off."},
	{"withheld-water", KindCaution, "No water is planned: look at the crop during the day, and earlier when it turns hot."},
	{"leach-water", KindCaution, "More than usual will drain: see that trays and gutters can take it."},
}
