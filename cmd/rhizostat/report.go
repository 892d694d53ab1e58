package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"rhizostat/service"
)

type reportCommand struct {
	Zone      string `help:"The zone, when there are several." placeholder:"ID"`
	Sites     string `help:"Site files: a file, a folder or a glob; default: RHIZOSTAT_SITES." placeholder:"PATTERN"`
	Recording string `help:"Play this recording through the engine; - for standard input." placeholder:"FILE"`
	Ledger    string `help:"Read this ledger; default: RHIZOSTAT_LEDGER." placeholder:"FILE"`
	From      string `help:"First day, like 2026-05-04." placeholder:"DAY"`
	To        string `help:"Day after the last." placeholder:"DAY"`
	Out       string `help:"Draw the days into this file." placeholder:"FILE.svg|FILE.png"`
}

// Run prints the daily figures and draws the days.
func (c *reportCommand) Run(ctx context.Context, io streams) error {
	settings, err := service.SettingsFromEnvironment(os.Environ())
	if err != nil {
		return usageError{err}
	}
	log, err := settings.Logger(io.err)
	if err != nil {
		return usageError{err}
	}
	if c.Sites != "" {
		settings.Sites = c.Sites
	}
	if c.Ledger != "" {
		settings.Ledger = c.Ledger
	}
	o := service.HistoryOptions{Settings: settings, Zone: c.Zone}
	if o.From, err = day(c.From); err != nil {
		return usageError{fmt.Errorf("report: --from: %w", err)}
	}
	if o.To, err = day(c.To); err != nil {
		return usageError{fmt.Errorf("report: --to: %w", err)}
	}
	switch ext := strings.ToLower(filepath.Ext(c.Out)); {
	case c.Out != "" && ext != ".svg" && ext != ".png":
		return usageError{fmt.Errorf("report: --out %s: expected a file that ends in .svg or .png", c.Out)}
	case c.Recording != "" && c.Ledger != "":
		return usageError{errors.New("report: --recording and --ledger; expected one of them")}
	case c.Recording == "-":
		o.Recording = io.in
	case c.Recording != "":
		file, err := os.Open(c.Recording)
		if err != nil {
			return usageError{fmt.Errorf("report: %w; expected a recording, or - for standard input", err)}
		}
		defer file.Close()
		o.Recording = file
	}
	if c.Recording == "" {
		if _, err := os.Stat(settings.Ledger); errors.Is(err, os.ErrNotExist) {
			return usageError{fmt.Errorf("report: ledger %s: there is no such file; expected the ledger of a daemon; name it with --ledger or RHIZOSTAT_LEDGER, or play a --recording", settings.Ledger)}
		}
	}
	days, err := service.History(ctx, o, log)
	if err != nil {
		return wrong(err)
	}
	if err := days.Table(io.out); err != nil || c.Out == "" {
		return err
	}
	return toFile(c.Out, func(f *os.File) error {
		if strings.EqualFold(filepath.Ext(c.Out), ".png") {
			return days.PNG(f)
		}
		return days.SVG(f)
	})
}

func day(s string) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is no day; expected like 2026-05-04", s)
	}
	return t, nil
}
