// Package wire holds what goes over the wire: the topics, every message that
// is published or accepted, its JSON Schema, and the digest that a decision
// names. It turns the engine's values into published ones (rounded: water
// content to 0.0001 m3/m3, whole mL, whole seconds) and refuses what is not a
// number. The records that the desk hands to the ledger are here too, since
// they are those same messages with their place in time.
//
// Members of published objects always come in the order of the structs here,
// so equal values give equal bytes.
package wire
