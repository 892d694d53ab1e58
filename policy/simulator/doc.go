// Package simulator is a facility whose truth is known: containers with layered
// water, roots, salt and warmth, a crop that drinks after the weather, probes
// that err as probes do, valves, faults that come at known times, and a
// controller that obeys setpoints. It is the yardstick the engine is held
// against, so it shares no code with the engine and is finer than it.
//
// It is deterministic: a seed and a start give the same facility to the last
// bit. Make one with NewFacility, let time pass with Facility.Advance, water
// with Facility.Open or a Controller, and take what the devices said with
// Facility.Measurements; Facility.Truth tells what really was.
//
// Inside, lengths are cm, suctions cm of water, volumes mL (cm3), times s.
package simulator
