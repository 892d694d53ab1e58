package intake

import (
	"math"
	"time"
)

// secondsTime is the instant that many seconds after 1970 began; false outside
// 1970 to 9999 and for what is no number.
func secondsTime(s float64) (time.Time, bool) {
	if !(s >= 0 && s < endOfTime) {
		return time.Time{}, false
	}
	return time.UnixMicro(int64(math.Round(s * 1e6))).UTC(), true
}
