package service

import (
	"context"
	"fmt"
	"hash/fnv"
	"io"
	"log/slog"
	"sort"
	"sync"
	"sync/atomic"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/service/desk"
	"rhizostat/service/intake"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

// house holds the zones of all sites with everything that a reading or a
// decision passes on its way. It is the same for the daemon and for a replay;
// they differ in what feeds it and where its messages go.
type house struct {
	settings Settings
	log      *slog.Logger
	sites    []*site.Site
	topics   []wire.Topics // by site
	router   *intake.Router
	ledger   *ledger.Ledger
	metrics  *metrics
	lots     []*lot
	workers  []*worker        // by zone
	places   []place          // by zone
	climates [][]int          // zones by climate
	shelf    hydraulics.Shelf // used while the house is built, and by the lots from then on
	squeezer squeezer
	zoneOf   []map[string]int // by site: zone id to zone
	outputs  []*output        // that take setpoints beside the native topics

	// publish hands on a message of a site; it must not block.
	publish func(site int, m wire.Message, at time.Time)
	// queue hands a reading or a control message to a zone's goroutine, or does
	// it at once where there is none.
	telemetry func(zone int, t shard.Telemetry)
	control   func(zone int, c shard.Control)
	// crowded reports whether so many readings wait that no more should come.
	crowded func() bool

	watch    *watcher // of a replay, else nil
	warnings sparing  // of what comes from outside

	owed   atomic.Pointer[func() error] // what is to be written once the ledger takes writes, nil: nothing
	paying sync.Mutex                   // held while it is

	fault atomic.Pointer[error] // of the ledger's last write, nil: it is writable
}

// place is where a zone lives.
type place struct{ lot, index int }

// newHouse builds the zones of the sites on so many shards and takes back what
// the ledger has of them.
func newHouse(ctx context.Context, s Settings, sites []*site.Site, l *ledger.Ledger, m *metrics, shards int, log *slog.Logger) (*house, error) {
	h, err := build(s, sites, shards, log)
	if err != nil {
		return nil, err
	}
	h.ledger, h.metrics = l, m
	h.router.Listen(intake.Listener{Rebirth: h.askForBirth, Born: h.born})
	m.house(h)
	if err := h.recover(ctx); err != nil {
		return nil, err
	}
	if err := l.Writable(ctx); err == nil || isFault(err) {
		h.noteLedger(err) // a zone may have nothing to write for minutes
	}
	return h, nil
}

// build makes the zones of the sites as if nothing were on record. What is wrong
// lies in the site files.
func build(s Settings, sites []*site.Site, shards int, log *slog.Logger) (*house, error) {
	h := &house{settings: s, log: log, sites: sites, outputs: outputsOf(sites)}
	for range shards {
		h.addLot()
	}
	if err := h.addZones(); err != nil {
		return nil, usage{err}
	}
	var err error
	if h.router, err = newRouter(s.TopicRoot, sites); err != nil {
		return nil, usage{err}
	}
	return h, nil
}

func (h *house) addLot() {
	l := &lot{house: h, shelf: h.shelf.Above()}
	mode, hold := shard.Wall, wallHold
	if h.settings.Clock == "telemetry" {
		mode, hold = shard.FromTelemetry, shard.DefaultHold
	}
	began := time.Now()
	l.shard = shard.New(shard.Settings{
		Mode: mode, Hold: hold, Late: shard.DefaultLate, Ahead: shard.DefaultAhead,
		Flush:   l.flush,
		Full:    l.full,
		Elapsed: func() time.Duration { return time.Since(began) }, // by the monotonic clock
		Refused: func(_, _ int, reason string) { h.metrics.clockRefused(reason) },
	})
	h.lots = append(h.lots, l)
}

// wallHold is how long a reading waits for earlier ones in the wall clock.
const wallHold = 2 * time.Second

func (h *house) addZones() error {
	climates := map[string]int{}
	for i, st := range h.sites {
		h.topics = append(h.topics, wire.Topics{Root: h.settings.TopicRoot, Site: st.Name})
		h.zoneOf = append(h.zoneOf, map[string]int{})
		for _, id := range st.Climates {
			climates[st.Name+"/"+id] = len(h.climates)
			h.climates = append(h.climates, nil)
		}
		for k := range st.Zones {
			zone := len(h.workers)
			w, err := h.newWorker(i, &st.Zones[k])
			if err != nil {
				return err
			}
			h.zoneOf[i][w.settings.Zone] = zone
			if c, ok := climates[st.Name+"/"+w.settings.Climate]; ok && w.settings.Climate != "" {
				h.climates[c] = append(h.climates[c], zone)
			}
		}
	}
	return nil
}

func (h *house) newWorker(siteIndex int, z *site.Zone) (*worker, error) {
	settings := &z.Settings
	settings.StateEvery = h.settings.StateEvery
	lotIndex := spread(settings.Site+"/"+settings.Zone, len(h.lots))
	l := h.lots[lotIndex]
	w := &worker{
		house: h, lot: l, site: siteIndex, zone: len(h.workers), topics: h.topics[siteIndex],
		settings: settings, rules: rulesOf(h.sites[siteIndex], z),
	}
	var err error
	if w.engine, err = policy.NewShared(settings, policy.Shared{Shelf: &h.shelf, Scratch: &l.scratch}); err != nil {
		return nil, fmt.Errorf("site %s: %w", settings.Site, err)
	}
	w.desk = desk.New(settings.Site, settings.Zone, w.rules)
	w.commands = h.commandsOf(siteIndex, settings.Zone)
	w.index = l.shard.Add(w, len(settings.Probes), time.Time{})
	var probes []string
	for i := range settings.Probes {
		probes = append(probes, settings.Probes[i].ID)
	}
	l.shard.Name(w.index, probes)
	h.workers = append(h.workers, w)
	h.places = append(h.places, place{lotIndex, w.index})
	return w, nil
}

// spread puts a zone on one of n shards, always the same.
func spread(id string, n int) int {
	hash := fnv.New32a()
	io.WriteString(hash, id) // a hash takes everything
	return int(hash.Sum32() % uint32(n))
}

func rulesOf(st *site.Site, z *site.Zone) *desk.Rules {
	r := &desk.Rules{
		Location: st.Location, StandingAllowed: z.Standing.Allowed,
		StandingMax: time.Duration(z.Standing.MaxDays) * 24 * time.Hour,
	}
	for _, d := range st.Deciders {
		decider := desk.Decider{Name: d.Name, Key: d.PublicKey, Zones: d.Zones}
		if len(decider.Zones) == 0 {
			decider.Zones = []string{"*"} // the site file names none where it means all
		}
		for _, may := range d.May {
			decider.May = append(decider.May, wire.Verdict(may))
		}
		r.Deciders = append(r.Deciders, decider)
	}
	return r
}

// decoder is one of the ways in which the intake reads a message.
type decoder func(topic string, payload []byte, arrived time.Time, emit func(intake.Item)) error

// receive takes a telemetry message that has just been published.
func (h *house) receive(topic string, payload []byte, arrived time.Time) {
	h.take(h.router.Decode, topic, payload, arrived)
}

// take decodes a telemetry message and hands its readings to their zones.
func (h *house) take(decode decoder, topic string, payload []byte, arrived time.Time) {
	err := decode(topic, payload, arrived, func(item intake.Item) {
		if !item.HasTime && arrived.IsZero() { // a recording without stamps
			h.metrics.Refused(string(intake.NotATime))
			return
		}
		t := shard.Telemetry{Source: item.Source, At: item.At, Arrived: arrived, Values: item.Values}
		if item.ClimateIndex < 0 {
			h.telemetry(item.ZoneIndex, t)
			return
		}
		for _, zone := range h.climates[item.ClimateIndex] {
			h.telemetry(zone, t)
		}
	})
	h.metrics.Received(err)
	if err != nil {
		h.log.Debug("telemetry refused", "topic", topic, "error", err)
	}
}

// person hands a decision or an event to its zone; ack may be nil. It reports
// false for a topic that is no zone's.
func (h *house) person(topic string, payload []byte, at time.Time, ack func()) bool {
	p, ok := wire.Parse(h.settings.TopicRoot, topic)
	if !ok {
		return false
	}
	zone, ok := h.find(p.Site, p.Zone)
	if !ok {
		return false
	}
	c := shard.Control{Topic: topic, Payload: payload, Time: at, Ack: ack}
	switch p.Kind {
	case wire.KindDecision:
		c.Kind = shard.Decision
	case wire.KindEvent:
		c.Kind = shard.Operator
		if e, err := wire.ParseEvent(payload, at); err == nil {
			c.Said = e.Time
		}
	default:
		return false
	}
	h.control(zone, c)
	return true
}

func (h *house) find(siteName, zone string) (int, bool) {
	for i, st := range h.sites {
		if st.Name == siteName {
			z, ok := h.zoneOf[i][zone]
			return z, ok
		}
	}
	return 0, false
}

// close keeps the state of every zone, so that a restart goes on from here.
func (h *house) close() error {
	var batch ledger.Batch
	for _, w := range h.workers {
		if w.now.IsZero() || w.aside != nil {
			continue
		}
		row, err := w.snapshot()
		if err != nil {
			return fmt.Errorf("zone %s/%s: %w", w.settings.Site, w.settings.Zone, err)
		}
		batch.Zones = append(batch.Zones, row)
	}
	if batch.Empty() {
		return nil
	}
	ctx, stop := context.WithTimeout(context.Background(), 4*time.Second)
	defer stop()
	return h.ledger.Commit(ctx, batch)
}

func (h *house) noteLedger(err error) {
	h.metrics.LedgerWritable(err == nil)
	if err == nil {
		if h.fault.Swap(nil) != nil {
			h.log.Info("ledger can be written again")
		}
		h.payOwed()
		return
	}
	if h.fault.Swap(&err) == nil {
		h.log.Error("ledger cannot be written; nothing can be approved until it can", "error", err)
	}
}

// onceWritable has something done once the ledger takes writes again, before anything that
// it takes then is published; and again after that, until it succeeds.
func (h *house) onceWritable(do func() error) { h.owed.Store(&do) }

func (h *house) payOwed() {
	if h.owed.Load() == nil {
		return
	}
	h.paying.Lock() // who comes meanwhile waits, for what it has on record is published next
	defer h.paying.Unlock()
	do := h.owed.Load()
	if do == nil {
		return
	}
	if err := (*do)(); err != nil {
		h.log.Warn("ledger takes writes, and not what it had refused before; trying again with the next", "error", err)
		return
	}
	h.owed.CompareAndSwap(do, nil)
}

func (h *house) ledgerFault() error {
	if p := h.fault.Load(); p != nil {
		return *p
	}
	return nil
}

// loadSites reads the site files; what is wrong in them is a usage error.
func loadSites(pattern string, log *slog.Logger) ([]*site.Site, error) {
	sites, found := site.Reader{Unit: intake.CheckUnit}.Load(pattern)
	if err := found.Err(); err != nil {
		return nil, usage{err}
	}
	for _, w := range found.Warnings() {
		log.Warn("site file", "warning", w.String())
	}
	if len(sites) == 0 {
		return nil, usage{fmt.Errorf("%s: no site file there; expected a file, a folder or a glob; set RHIZOSTAT_SITES", pattern)}
	}
	sort.Slice(sites, func(i, j int) bool { return sites[i].Name < sites[j].Name })
	if err := oneWriter(sites); err != nil {
		return nil, usage{err}
	}
	return sites, nil
}

// usage is a mistake of whoever wrote the files or the command.
type usage struct{ error }

func (u usage) Unwrap() error { return u.error }
