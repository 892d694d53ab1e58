package main

import (
	"context"
	"fmt"
	"os"

	"rhizostat/service"
)

type runCommand struct{}

// Help lists what the daemon reads from the environment.
func (runCommand) Help() string {
	text := "The daemon is configured by its environment and its site files:\n\n"
	for _, v := range service.Variables {
		fallback := v.Default
		if fallback == "" {
			fallback = "none"
		}
		// indented, so that the lines stay as they are
		text += fmt.Sprintf("    %s (default: %s)\n        %s\n", v.Name, fallback, v.What)
	}
	return text + "\nSIGHUP reads the site files anew; a broken one changes nothing and says so. SIGINT and SIGTERM end it in order."
}

// Run runs the daemon until it is told to end.
func (c *runCommand) Run(ctx context.Context, io streams) error {
	settings, err := service.SettingsFromEnvironment(os.Environ())
	if err != nil {
		return usageError{err}
	}
	log, err := settings.Logger(io.err)
	if err != nil {
		return usageError{err}
	}
	return wrong(service.Run(ctx, settings, version, log))
}

// wrong gives a mistake of whoever wrote the site files its exit status.
func wrong(err error) error {
	if service.IsUsage(err) {
		return usageError{err}
	}
	return err
}
