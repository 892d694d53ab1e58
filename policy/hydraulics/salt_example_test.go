package hydraulics_test

import (
	"fmt"

	"rhizostat/policy/hydraulics"
)

// What drain keeps the pores at 3 mS/cm, on a feed of 2.2 of which the crop takes
// 1.4 with its water?
func ExampleSaltBalance_DrainFractionFor() {
	balance := hydraulics.SaltBalance{FeedEC: 2.2, UptakeEC: 1.4}
	drain, ok := balance.DrainFractionFor(3.0)
	fmt.Printf("%.2f %v\n", drain, ok)
	// Output: 0.50 true
}
