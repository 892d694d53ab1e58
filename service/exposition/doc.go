// Package exposition shows the daemon to Prometheus and to whoever keeps it
// running: /metrics, /healthz and /readyz.
//
// Every instrument is a row of one table (see [Instruments]). The daemon's own
// counters live in a client_golang registry. What is per zone is written straight
// from the zones' latest states, for a registry would hold some 10 KB a zone and
// need many seconds for 50,000 of them.
package exposition
