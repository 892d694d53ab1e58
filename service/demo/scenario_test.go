package demo

import (
	"bytes"
	"testing"
)

func TestTimeZoneIsTheSites(t *testing.T) {
	if !bytes.Contains(SiteFile, []byte("\ntime_zone: "+TimeZone+"\n")) {
		t.Errorf("the site file does not say time_zone: %s", TimeZone)
	}
}
