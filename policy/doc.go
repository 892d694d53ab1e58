// Package policy is the engine: what a zone's root zone does, what it will do,
// and what should be done about it.
//
// It is pure. Time, readings and what people say come in as events; what the
// shell must do comes out as values. It has no clock, no randomness, no I/O, no
// goroutines and no log, so the same events in the same order give the same
// advice, byte for byte, whether they come from a broker, a recording, a
// simulator or a fuzzer; and a zone restored from a snapshot goes on exactly as
// if it had never stopped.
//
// A zone is made by New, or by Restore from a snapshot, and lives through Step.
// One goroutine owns it.
package policy
