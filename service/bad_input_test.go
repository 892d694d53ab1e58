package service

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// On a real broker: what it had kept from before and what is far too large are
// counted by their reasons, on both sessions, and keep nothing that comes after
// them from the zone.
func TestBadInputHoldsUpNothing(t *testing.T) {
	t.Parallel()
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	w, status := watch(t, b, "rhizostat/north/#"), followStatus(t, b, topics.Status())
	if err := b.Publish(topics.Telemetry(bench(0), "p1"), reading(0, 0, -7*24*time.Hour), true); err != nil {
		t.Fatal(err)
	}
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	c := startChild(t, append(environment(t, b.Address, writeSite(t, siteOf("north", 1))), "RHIZOSTAT_HTTP="+address)...)
	defer c.end(t, syscall.SIGTERM)
	eventually(t, 10*time.Second, text("the daemon is not online"), func() bool { return status.online() != "" })
	large := bytes.Repeat([]byte("7"), 3<<20)
	for _, topic := range []string{topics.Telemetry(bench(0), "p2"), topics.Event(bench(0)), topics.Decision(bench(0))} {
		if err := b.Publish(topic, large, false); err != nil {
			t.Fatal(err)
		}
	}
	advise(t, b, w, topics, 1)
	decide(t, b, topics, w.advice(t, topics, bench(0)), wire.Approve, "head grower")
	eventually(t, 10*time.Second, text("approved, and no setpoints"), func() bool { return len(w.get(topics.Setpoint(bench(0)))) > 0 })
	shown := scraped(t, "http://"+address+"/metrics")
	for _, want := range []string{
		`rhizostat_intake_messages_total{reason="retained",result="refused"} 1`, `rhizostat_intake_messages_total{reason="too-large",result="refused"} 2`,
		`rhizostat_decisions_total{decision="unreadable",result="refused",site="north"} 1`,
	} {
		if !strings.Contains(shown, want+"\n") {
			t.Errorf("the metrics lack %s", want)
		}
	}
	if strings.Contains(c.log.String(), "broker connection ended") {
		t.Errorf("a session broke\n%s", c.log.String())
	}
}

func scraped(t *testing.T, url string) string {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}
