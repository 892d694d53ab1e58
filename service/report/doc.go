// Package report writes what people read and look at: what the physics makes
// of a zone ([Check]), and pictures and tables of its days. It works on
// settings and on plain structs of its own, and neither reads a ledger nor
// decides anything.
package report
