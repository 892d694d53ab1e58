//go:build !race

package intake

// raced: see race_test.go.
const raced = false
