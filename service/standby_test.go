package service

import (
	"strings"
	"syscall"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// A machine with both the broker and the daemon loses power: no will is sent,
// and what the broker has on its disk says online. The daemon starts again.
func TestStartAfterAPowerCut(t *testing.T) {
	t.Parallel()
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	status := followStatus(t, b, topics.Status())
	w := watch(t, b, topics.Status())
	environ := environment(t, b.Address, writeSite(t, siteOf("north", 1)))
	c := startChild(t, environ...)
	eventually(t, 10*time.Second, text("the daemon is not online"), func() bool { return status.online() != "" })
	dead, kept := status.online(), w.get(topics.Status())
	c.kill(t)
	eventually(t, 10*time.Second, text("no will"), func() bool { return status.online() == "" })
	if err := b.Publish(topics.Status(), kept, true); err != nil {
		t.Fatal(err)
	}
	c = startChild(t, environ...)
	defer c.end(t, syscall.SIGTERM)
	eventually(t, 15*time.Second, func() string { return "the daemon takes itself for another\n" + c.log.String() }, func() bool {
		now := status.online()
		return now != "" && now != dead
	})
}

// A daemon that is ended in the middle of a reload leaves no online behind: the
// site had stayed online for a link that never came.
func TestTheEndInTheMiddleOfAReload(t *testing.T) {
	t.Parallel()
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	status := followStatus(t, b, topics.Status())
	c := startChild(t, environment(t, b.Address, writeSite(t, siteOf("north", 1)))...)
	eventually(t, 10*time.Second, text("the daemon is not online"), func() bool { return status.online() != "" })
	c.hangUp(t)
	eventually(t, 10*time.Second, text("no reload"), func() bool { return strings.Contains(c.log.String(), "site files reloaded") })
	time.Sleep(300 * time.Millisecond) // the old link has gone, the new one still looks out
	c.end(t, syscall.SIGTERM)
	eventually(t, 2*time.Second, func() string { return "it has ended and its site says online\n" + c.log.String() }, func() bool { return status.online() == "" })
}
