package climate

import "fmt"

// panicNumber reports a number that no caller may hand in; the doors of the
// engine refuse it earlier.
func panicNumber(where string, numbers ...float64) {
	panic(fmt.Sprintf("climate: %s: %v is outside its range", where, numbers))
}
