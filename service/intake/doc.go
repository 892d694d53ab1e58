// Package intake turns what comes in on a topic into readings in base units.
//
// A Router knows the zones, probes and climates of all sites and the foreign
// topics that their site files map. Decode takes one message, finds whose it is,
// reads its payload (a SenML pack, a flat JSON object, foreign JSON by JSON
// Pointers, a plain number, or Sparkplug B), converts every unit by the one table of units.go
// and hands on what is physically possible. What cannot be taken is refused with
// one reason of the closed set of refusals.go: nothing is guessed, nothing is
// dropped without a count.
//
// It is pure decoding: no clock (the time of arrival is passed in), no goroutine,
// and no state between messages but what Sparkplug B cannot be read without, the
// births of edge nodes (edge.go). The cost of a message does not depend on the number
// of zones.
package intake
