package service

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// Decisions that a broker keeps come again with each connection: they are counted,
// nothing of them is done, and the log does not fill up with them.
func TestRetainedDecisionsAreCountedAndToldSparingly(t *testing.T) {
	t.Parallel()
	const kept = 50
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	for i := range kept {
		if err := b.Publish(topics.Decision(fmt.Sprintf("bench-%d", i)), []byte(`{}`), true); err != nil {
			t.Fatal(err)
		}
	}
	status := followStatus(t, b, topics.Status())
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	c := startChild(t, environment(t, b.Address, writeSite(t, siteOf("north", 1)), "RHIZOSTAT_HTTP="+address)...)
	defer c.end(t, syscall.SIGTERM)
	eventually(t, 10*time.Second, text("the daemon is not online"), func() bool { return status.online() != "" })
	line := fmt.Sprintf(`rhizostat_intake_messages_total{reason="retained",result="refused"} %d`, kept)
	eventually(t, 10*time.Second, text("not each of them is counted"), func() bool {
		r, err := http.Get("http://" + address + "/metrics")
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		body, err := io.ReadAll(r.Body)
		return err == nil && strings.Contains(string(body), "\n"+line+"\n")
	})
	told := func() int { return strings.Count(c.log.String(), "retained decision or event ignored") }
	// a child's log comes by a pipe, maybe after what it has counted since
	eventually(t, 10*time.Second, func() string { return fmt.Sprintf("it was told %d times, want %d", told(), toldAtMost) }, func() bool { return told() >= toldAtMost })
	if lines := told(); lines != toldAtMost {
		t.Errorf("it was told %d times, want %d\n%s", lines, toldAtMost, c.log.String())
	}
}
