package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"rhizostat/service"
)

type replayCommand struct {
	File       string         `arg:"" help:"The recording, as mosquitto_sub -F %j prints it; - for standard input. Binary payloads (Sparkplug B) are hexadecimal digits, twice payloadlen: %x of mosquitto_sub."`
	Sites      string         `help:"Site files: a file, a folder or a glob; default: RHIZOSTAT_SITES." placeholder:"PATTERN"`
	Ledger     string         `help:"Go on from this ledger, and leave what is learned in it." type:"path" placeholder:"FILE"`
	Root       string         `help:"First level of the topics; default: RHIZOSTAT_TOPIC_ROOT." placeholder:"ROOT"`
	StateEvery *time.Duration `help:"How often the state is published, in engine time; default: RHIZOSTAT_STATE_EVERY." placeholder:"DURATION"`
}

// Run replays the recording to standard output.
func (c *replayCommand) Run(ctx context.Context, io streams) error {
	settings, err := service.SettingsFromEnvironment(os.Environ())
	if err != nil {
		return usageError{err}
	}
	if c.Sites != "" {
		settings.Sites = c.Sites
	}
	if c.Root != "" {
		settings.TopicRoot = c.Root
	}
	if c.StateEvery != nil {
		if err := service.CheckStateEvery(*c.StateEvery); err != nil {
			return usageError{fmt.Errorf("replay: --state-every: %w", err)}
		}
		settings.StateEvery = *c.StateEvery
	}
	settings.Ledger = c.Ledger
	log, err := settings.Logger(io.err)
	if err != nil {
		return usageError{err}
	}
	in := io.in
	if c.File != "-" {
		file, err := os.Open(c.File)
		if err != nil {
			return usageError{fmt.Errorf("replay: %w; expected a recording, or - for standard input", err)}
		}
		defer file.Close()
		in = file
	}
	return wrong(service.Replay(ctx, settings, in, io.out, log))
}
