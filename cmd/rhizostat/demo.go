package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"time"

	"golang.org/x/term"

	"rhizostat/service"
	"rhizostat/service/demo"
)

type demoCommand struct {
	Approve bool          `help:"Play the approver too: every advice is approved ten minutes after it is issued."`
	For     time.Duration `help:"End after this much simulated time with a summary, e.g. 72h." placeholder:"DURATION"`
	Speed   float64       `help:"Simulated over real time, 60 to 3600; default: 600, or as fast as it goes with --for." placeholder:"N"`
	Seed    uint64        `help:"Seed of weather, plants and probes." default:"1"`
	ByClock bool          `help:"The controllers run the schedule instead of waiting for the trigger."`
	Broker  string        `help:"Address of the embedded broker." default:"127.0.0.1:1883"`
	HTTP    string        `name:"http" help:"Address of /metrics." default:"127.0.0.1:9187"`
	Verbose bool          `help:"Show the daemon's log."`
}

// Run plays the demo.
func (c *demoCommand) Run(ctx context.Context, io streams) error {
	if c.Speed != 0 && (c.Speed < 60 || c.Speed > 3600) {
		return usageError{fmt.Errorf("demo: --speed %g is out of range; expected from 60 to 3600", c.Speed)}
	}
	if c.For < 0 {
		return usageError{fmt.Errorf("demo: --for %s is below 0; expected simulated time like 72h", c.For)}
	}
	speed := c.Speed
	if speed == 0 && c.For == 0 {
		speed = 600
	}
	level := slog.LevelError
	if c.Verbose {
		level = slog.LevelInfo
	}
	file, terminal := io.out.(*os.File)
	return wrong(service.Demo(ctx, service.DemoOptions{
		Options: demo.Options{Root: "rhizostat", Seed: c.Seed, Speed: speed, For: c.For, Approve: c.Approve, ByClock: c.ByClock},
		Broker:  c.Broker, HTTP: c.HTTP, Terminal: terminal && term.IsTerminal(int(file.Fd())), Out: io.out, Version: version,
		Log: slog.New(slog.NewTextHandler(io.err, &slog.HandlerOptions{Level: level})),
	}))
}
