package link

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"testing"
	"time"
)

// Of however many sites, each one's status is seen.
func TestAmongManySitesTheOneThatIsTakenIsSeen(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	var sites []Site
	for i := range 300 {
		s := Site{ID: fmt.Sprintf("s%03d", i), Status: fmt.Sprintf("r/s%03d/status", i)}
		sites = append(sites, s)
		says := "offline"
		if i == 150 {
			says = "online"
		}
		if err := server.Publish(s.Status, []byte(says), true, 0); err != nil {
			t.Fatal(err)
		}
	}
	l := New(Settings{Broker: "tcp://" + address, ClientID: "test"}, nil, sites, Handlers{}, slog.New(slog.NewTextHandler(io.Discard, nil)))
	for range 2 { // retained messages come in any order
		ctx, stop := context.WithTimeout(t.Context(), 3*time.Second)
		err := l.Precede(ctx, func(p []byte) bool { return string(p) == "online" }, true)
		stop()
		if err == nil {
			t.Fatal("the daemon of the site in the middle was not seen")
		}
	}
}
