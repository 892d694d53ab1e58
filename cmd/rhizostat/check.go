package main

import (
	"bytes"
	"errors"
	"fmt"
	nothing "io"
	"math"
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
	Uptake  float64  `help:"What the crop drinks a day, mL per container, for --compare; default: 15 % of the container's volume." placeholder:"ML"`
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
	if err := c.idle(); err != nil {
		return err
	}
	out := io.out
	if c.Compare {
		out = nothing.Discard // only what was asked for
	}
	sites, err := service.Check(c.Files, out, io.err)
	if err == nil && c.Compare {
		err = c.compare(sites, io)
	}
	if err != nil || c.Chart == "" {
		return wrong(err)
	}
	return wrong(toFile(c.Chart, func(f *os.File) error { return service.Chart(sites, c.Zone, f) }))
}

// idle refuses flags that would be without effect: whoever typed them expects one.
func (c *checkCommand) idle() error {
	switch {
	case c.Uptake != 0 && !c.Compare:
		return usageError{errors.New("check: --uptake says nothing without --compare; add --compare, or leave --uptake out")}
	case c.Zone != "" && !c.Compare && c.Chart == "":
		return usageError{errors.New("check: --zone says nothing without --chart or --compare; a check is of whole files; leave --zone out")}
	case c.Uptake < 0:
		return usageError{fmt.Errorf("check: --uptake %g is below 0; expected mL per container and day", c.Uptake)}
	}
	return nil
}

// drunkShare is what a full-grown crop is taken to drink on a day, over the volume
// of its container (common practice, no source).
const drunkShare = 0.15

// compare compares for the uptake that was told, or for a usual one, and says so.
func (c *checkCommand) compare(sites []*site.Site, io streams) error {
	uptake := c.Uptake
	for _, st := range sites {
		for i := range st.Zones {
			s := &st.Zones[i].Settings
			if uptake != 0 || c.Zone != "" && s.Zone != c.Zone {
				continue
			}
			uptake = math.Round(drunkShare * s.Container.VolumeML())
		}
	}
	var compared bytes.Buffer
	if err := service.Compare(sites, c.Zone, uptake, &compared); err != nil {
		return err
	}
	if c.Uptake == 0 {
		fmt.Fprintf(io.out, "no --uptake was told: %.0f %% of the container's volume a day is assumed (common practice, no source)\n", 100*drunkShare)
	}
	_, err := compared.WriteTo(io.out)
	return err
}

// toFile writes a file whole or, after an error, not at all: what was there stays then.
func toFile(path string, write func(*os.File) error) error {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() { // a pipe, a terminal
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			return usageError{fmt.Errorf("%w; expected a place where a file can be written", err)}
		}
		return errors.Join(write(f), f.Close())
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return usageError{fmt.Errorf("%w; expected a place where a file can be written", err)}
	}
	err = errors.Join(write(f), f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}
