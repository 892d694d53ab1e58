//go:build race

package intake

// raced: the race detector makes sync.Pool forget at random, so allocations mean
// nothing under it.
const raced = true
