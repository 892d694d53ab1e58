package main

import (
	"errors"
	"fmt"
	nothing "io"
	"os"
	"path/filepath"
	"strings"

	"rhizostat/service"
	"rhizostat/service/site"
)

type checkCommand struct {
	Files   []string `arg:"" optional:"" help:"Site files, folders or globs."`
	Chart   string   `help:"Draw water and air by height of one zone." type:"path" placeholder:"FILE.svg"`
	Compare bool     `help:"Compare other containers and substrates for one zone: air, dryback, shots a day."`
	Uptake  float64  `help:"What the crop drinks a day, mL per container, for --compare." default:"1000" placeholder:"ML"`
	Zone    string   `help:"The zone to draw or to compare for, when there are several." placeholder:"ID"`
	Keys    bool     `help:"Print every key of a site file with its unit, range, default and source, and end."`
}

// Run checks the files and prints what the physics makes of each zone.
func (c *checkCommand) Run(io streams) error {
	if c.Keys {
		return site.Document(io.out)
	}
	if len(c.Files) == 0 {
		return usageError{errors.New("check: no file; expected site files; see rhizostat check --help")}
	}
	if c.Chart != "" && !strings.EqualFold(filepath.Ext(c.Chart), ".svg") {
		return usageError{fmt.Errorf("check: --chart %s: expected a file that ends in .svg", filepath.Base(c.Chart))}
	}
	out := io.out
	if c.Compare {
		out = nothing.Discard // only what was asked for
	}
	sites, err := service.Check(c.Files, out, io.err)
	if err == nil && c.Compare {
		err = service.Compare(sites, c.Zone, c.Uptake, io.out)
	}
	if err != nil || c.Chart == "" {
		return wrong(err)
	}
	return wrong(toFile(c.Chart, func(f *os.File) error { return service.Chart(sites, c.Zone, f) }))
}

// toFile writes a file whole or, after an error, not at all.
func toFile(path string, write func(*os.File) error) error {
	f, err := os.Create(path)
	if err != nil {
		return usageError{fmt.Errorf("%w; expected a place where a file can be written", err)}
	}
	if err := errors.Join(write(f), f.Close()); err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return nil
}
