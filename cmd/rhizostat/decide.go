package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"rhizostat/service"
	"rhizostat/service/link"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

// brokerFlags say where the broker is; what is not given comes from the
// environment, as the daemon reads it.
type brokerFlags struct {
	Broker string   `help:"Address of the broker; default: RHIZOSTAT_BROKER." placeholder:"URL"`
	Root   string   `help:"First level of the topics; default: RHIZOSTAT_TOPIC_ROOT." placeholder:"ROOT"`
	Site   string   `help:"Only this site." placeholder:"ID"`
	Zone   []string `help:"Only this zone; may be given more than once." placeholder:"ID"`
	Sites  string   `help:"Site files, for the time zones in which times are told: a file, a folder or a glob; default: RHIZOSTAT_SITES, or this machine's time zone." placeholder:"PATTERN"`
	Ledger string   `help:"The daemon's ledger, where it is at hand, for the advice before; default: RHIZOSTAT_LEDGER." placeholder:"FILE"`
}

func (f *brokerFlags) console(io streams) (service.Console, error) {
	settings, err := service.SettingsFromEnvironment(os.Environ())
	if err != nil {
		return service.Console{}, usageError{err}
	}
	if f.Broker != "" {
		settings.Broker = f.Broker
	}
	if f.Root != "" {
		settings.TopicRoot = f.Root
	}
	l := link.Settings{
		Broker: settings.Broker, ClientID: "rhizostat-person", Username: settings.Username, PasswordFile: settings.PasswordFile,
		CAFile: settings.CAFile, CertFile: settings.CertFile, KeyFile: settings.KeyFile,
	}
	if err := l.Validate(); err != nil {
		return service.Console{}, usageError{err}
	}
	times, err := f.times(settings.Sites, io)
	if err != nil {
		return service.Console{}, usageError{err}
	}
	if f.Ledger != "" {
		settings.Ledger = f.Ledger
		if _, err := os.Stat(f.Ledger); err != nil {
			return service.Console{}, usageError{fmt.Errorf("ledger %s: it cannot be read; expected the ledger of the daemon; leave --ledger out to do without", f.Ledger)}
		}
	}
	return service.Console{Link: l, Root: settings.TopicRoot, Site: f.Site, Zones: f.Zone, Times: times, Ledger: settings.Ledger, Out: io.out}, nil
}

// times are the time zones of the sites. People decide from anywhere: where no site
// files were asked for, those that cannot be read are as good as none, but who set
// RHIZOSTAT_SITES is told.
func (f *brokerFlags) times(pattern string, io streams) (map[string]*time.Location, error) {
	if f.Sites != "" {
		pattern = f.Sites
	}
	sites, found := site.Load(pattern)
	err := found.Err()
	if err != nil && f.Sites != "" {
		return nil, err
	}
	if os.Getenv("RHIZOSTAT_SITES") != "" && (err != nil || len(sites) == 0) {
		fmt.Fprintf(io.err, "rhizostat: RHIZOSTAT_SITES=%s cannot be read, so times are not told in the zones of its sites; rhizostat check says what is wrong\n", pattern)
	}
	times := map[string]*time.Location{}
	for _, s := range sites {
		times[s.Name] = s.Location
	}
	return times, nil
}

type adviceCommand struct {
	brokerFlags
	Detail bool `help:"Print each advice whole, with its reasons."`
	Diff   bool `help:"Print what each advice changes against the one before it."`
}

// Run lists the standing advice.
func (c *adviceCommand) Run(ctx context.Context, io streams) error {
	console, err := c.console(io)
	if err != nil {
		return err
	}
	return console.List(ctx, c.Detail, c.Diff)
}

type decideCommand struct {
	brokerFlags
	Verdict    string        `arg:"" optional:"" help:"approve, reject or withdraw."`
	Advice     []string      `arg:"" optional:"" help:"Ids of the advice; without, the one that waits in --zone."`
	AllPending bool          `help:"Decide on all that waits, after one question."`
	Yes        bool          `help:"Do not ask."`
	By         string        `help:"Who decides; goes on record." placeholder:"NAME"`
	Note       string        `help:"Why; goes on record." placeholder:"TEXT"`
	Key        string        `help:"File with the decider's key, where the site lists deciders." type:"path" placeholder:"FILE"`
	NewKey     string        `help:"Make a key in this file, print what the site file needs, and end." type:"path" placeholder:"FILE"`
	Wait       time.Duration `help:"How long to wait for each answer." default:"10s"`

	Cover         time.Duration `help:"Let this approval stand for later advice this long, e.g. 72h; the site must allow it." placeholder:"DURATION"`
	CoverVolume   int           `help:"... while it gives at most this much a day, mL per container." placeholder:"ML"`
	CoverShot     int           `help:"... in shots of at most this much, mL." placeholder:"ML"`
	CoverEarliest string        `help:"... not before this local time, e.g. 06:30." placeholder:"TIME"`
	CoverLatest   string        `help:"... and not after this local time." placeholder:"TIME"`
}

// Run sends the decisions and prints the answers.
func (c *decideCommand) Run(ctx context.Context, io streams) error {
	if c.NewKey != "" {
		return c.newKey(io)
	}
	switch c.Verdict {
	case "approve", "reject", "withdraw":
	case "":
		return usageError{errors.New("decide: no decision is named; expected approve, reject or withdraw, such as rhizostat decide approve --all-pending --by NAME; see rhizostat decide --help")}
	default:
		return usageError{fmt.Errorf("decide: %q is no decision; expected approve, reject or withdraw", c.Verdict)}
	}
	by := strings.TrimSpace(c.By)
	if by == "" {
		return usageError{errors.New("decide: --by is missing; expected the name of whoever decides, which goes on record")}
	}
	console, err := c.console(io)
	if err != nil {
		return err
	}
	covers, err := c.covers()
	if err != nil {
		return usageError{err}
	}
	d := service.Decide{
		Console: console, Verdict: wire.Verdict(c.Verdict), Advice: c.Advice, AllPending: c.AllPending, Yes: c.Yes,
		By: by, Note: c.Note, Covers: covers, KeyFile: c.Key, In: io.in, Wait: c.Wait,
	}
	return d.Do(ctx)
}

func (c *decideCommand) covers() (*wire.Covers, error) {
	if c.Cover == 0 {
		if c.CoverVolume != 0 || c.CoverShot != 0 || c.CoverEarliest != "" || c.CoverLatest != "" {
			return nil, errors.New("decide: limits of a cover without --cover; expected how long the approval may stand, like --cover 72h")
		}
		return nil, nil
	}
	covers := &wire.Covers{Until: time.Now().Add(c.Cover).UTC().Truncate(time.Minute), MaxVolumeML: c.CoverVolume, MaxShotML: c.CoverShot}
	if c.CoverVolume <= 0 || c.CoverShot <= 0 || c.CoverEarliest == "" || c.CoverLatest == "" {
		return nil, errors.New("decide: --cover needs --cover-volume, --cover-shot, --cover-earliest and --cover-latest: an approval stands only inside limits")
	}
	if err := covers.EarliestShot.UnmarshalText([]byte(c.CoverEarliest)); err != nil {
		return nil, fmt.Errorf("decide: --cover-earliest: %w", err)
	}
	if err := covers.LatestShot.UnmarshalText([]byte(c.CoverLatest)); err != nil {
		return nil, fmt.Errorf("decide: --cover-latest: %w", err)
	}
	return covers, nil
}

func (c *decideCommand) newKey(io streams) error {
	public, err := service.NewKey(c.NewKey)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(io.out, "wrote %s; keep it to yourself. The site file lists you like this:\n\ndeciders:\n  your-name:\n    public_key: %q\n    zones: [\"*\"]\n    may: [approve, reject, withdraw]\n", c.NewKey, public)
	return err
}
