// Package site reads site files: the YAML in which a facility says what its
// containers are, what they are filled with, where its probes stand and what
// its people want. Every mistake of a file is reported at once, with file,
// line, column and what was expected.
//
// One table of keys (keys_*.go) says for each key its kind, unit, range,
// default, where the default comes from, and a sentence of documentation. The
// reader, the words of the mistakes and the manual (Document) are all made from
// it. What two keys must agree on, and what physics allows, stands beside the
// part it builds (substrate.go, zone.go, band.go, ...).
//
// Load reads files; Parse reads bytes. A Site they return is whole: each zone's
// policy.Settings has been held against the physics of its container.
package site
