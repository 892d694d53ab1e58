package service

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"slices"
	"sort"
	"strings"
	"text/tabwriter"
	"time"

	"rhizostat/policy"
	"rhizostat/service/link"
	"rhizostat/service/wire"
)

// Console is a person's view of the advice that stands on a broker.
type Console struct {
	Link  link.Settings
	Root  string // topic root
	Site  string // "" is every site
	Zones []string
	// Times is the time zone of each site that is known, so that instants are told as
	// the reasons tell them; of another site they are in that of whoever reads.
	Times map[string]*time.Location
	// Ledger is the ledger of the daemon, where it is at hand: it has the advice
	// before the one that stands, which the broker has most often let go.
	Ledger string
	Out    io.Writer
}

// local is an instant in the time zone of a site.
func (c *Console) local(site string, t time.Time) time.Time {
	if loc := c.Times[site]; loc != nil {
		return t.In(loc)
	}
	return t.Local()
}

// clocks tells whose clock the times are read from.
func (c *Console) clocks(all []standing) string {
	var known, unknown []string
	for _, s := range all {
		loc, told := c.Times[s.advice.Site], fmt.Sprintf("%s in %s", s.advice.Site, c.Times[s.advice.Site])
		switch {
		case loc != nil && !slices.Contains(known, told):
			known = append(known, told)
		case loc == nil && !slices.Contains(unknown, s.advice.Site):
			unknown = append(unknown, s.advice.Site)
		}
	}
	text := "times: " + strings.Join(known, ", ")
	if len(unknown) == 0 {
		return text
	}
	if len(known) > 0 {
		text += "; "
	}
	return text + fmt.Sprintf("%s in this machine's zone (%s), but sentences tell those of the site: --sites names its file", strings.Join(unknown, ", "), time.Now().Format("MST"))
}

// NotFoundError says that there is nothing to list or to decide on.
type NotFoundError struct{ text string }

func (e NotFoundError) Error() string { return e.text }

// standing is an advice with what is in force beside it.
type standing struct {
	advice  *wire.Advice
	inForce *wire.Setpoint // nil when nothing is
	before  before
}

// read fetches what stands on the broker, sorted by site and zone.
func (c *Console) read(ctx context.Context, visit *link.Client) ([]standing, error) {
	site := c.Site
	if site == "" {
		site = "+"
	}
	got, err := visit.Retained(ctx, c.Root+"/"+site+"/+/advice", c.Root+"/"+site+"/+/setpoint")
	if err != nil {
		return nil, err
	}
	byZone := map[string]*standing{}
	var keys []string
	for _, r := range got {
		place, ok := wire.Parse(c.Root, r.Topic)
		if !ok || len(r.Payload) == 0 {
			continue
		}
		key := place.Site + "/" + place.Zone
		s := byZone[key]
		if s == nil {
			s = &standing{}
			byZone[key] = s
			keys = append(keys, key)
		}
		switch place.Kind {
		case wire.KindAdvice:
			if s.advice, err = wire.ParseAdvice(r.Payload); err != nil {
				return nil, fmt.Errorf("%s: %w", r.Topic, err)
			}
		case wire.KindSetpoint:
			if s.inForce, err = wire.ParseSetpoint(r.Payload); err != nil {
				return nil, fmt.Errorf("%s: %w", r.Topic, err)
			}
		}
	}
	sort.Strings(keys)
	var all, wanted []standing
	for _, key := range keys {
		if byZone[key].advice != nil {
			all = append(all, *byZone[key])
		}
	}
	for _, s := range all {
		if c.wants(s.advice.Zone) {
			wanted = append(wanted, s)
		}
	}
	if err := c.missing(all); err != nil {
		return nil, err
	}
	c.lookBack(ctx, wanted)
	return wanted, nil
}

// missing is the error of a zone that was named and that no advice stands of, with
// those that could have been meant.
func (c *Console) missing(all []standing) error {
	if len(all) == 0 {
		return NotFoundError{fmt.Sprintf("no advice stands under %s/%s; expected a running daemon that has seen telemetry; check the topic root and the site", c.Root, orAny(c.Site))}
	}
	for _, zone := range c.Zones {
		if slices.ContainsFunc(all, func(s standing) bool { return s.advice.Zone == zone }) {
			continue
		}
		var names []string
		for _, s := range all {
			names = append(names, s.advice.Zone)
		}
		return NotFoundError{fmt.Sprintf("there is no zone %s under %s/%s that has an advice; there are %s", zone, c.Root, orAny(c.Site), some(names))}
	}
	return nil
}

// some tells the first of many names.
func some(names []string) string {
	const most = 8
	if n := len(names) - most; n > 0 {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), n)
	}
	return strings.Join(names, ", ")
}

func (c *Console) wants(zone string) bool {
	if len(c.Zones) == 0 {
		return true
	}
	for _, z := range c.Zones {
		if z == zone {
			return true
		}
	}
	return false
}

// List prints the standing advice; detail prints each with its reasons, and
// diff what it changes against the advice before it.
func (c *Console) List(ctx context.Context, detail, diff bool) error {
	visit, err := link.Visit(ctx, c.Link, "advice-"+strings.ToLower(rand.Text()[:8]))
	if err != nil {
		return err
	}
	defer visit.Close()
	all, err := c.read(ctx, visit)
	if err != nil {
		return err
	}
	fmt.Fprintln(c.Out, c.clocks(all))
	if !detail && !diff {
		return c.table(all)
	}
	for _, s := range all {
		c.describe(s, diff)
	}
	return nil
}

func orAny(site string) string {
	if site == "" {
		return "+"
	}
	return site
}

// table prints one line an advice.
func (c *Console) table(all []standing) error {
	w := tabwriter.NewWriter(c.Out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "ZONE\tACTION\tDAY\tWATER\tAGAINST BEFORE\tCONFIDENCE\tAPPROVAL\tWHY")
	for _, s := range all {
		a := s.advice
		fmt.Fprintf(w, "%s/%s\t%s\t%s\t%s\t%s\t%.0f %%\t%s\t%s\n", a.Site, a.Zone, a.Action, c.local(a.Site, a.ValidFrom).Format("2 Jan 15:04 MST"),
			volume(a.Setpoints), change(&s), 100*a.Confidence, c.approval(a), firstReason(a))
	}
	return w.Flush()
}

func volume(s *wire.Setpoints) string {
	if s == nil {
		return "-"
	}
	if s.ShotVolumeML == 0 {
		return "none"
	}
	return fmt.Sprintf("%d x %d mL", len(s.Schedule), s.ShotVolumeML)
}

func scheduled(s *wire.Setpoints) int {
	sum := 0
	for _, shot := range s.Schedule {
		sum += shot.VolumeML
	}
	return sum
}

func (c *Console) approval(a *wire.Advice) string {
	if !a.Approval.Required {
		return "not needed"
	}
	if a.Approval.State == policy.StatePending {
		return "pending, decide by " + c.local(a.Site, a.Approval.DecideBy).Format("15:04 MST")
	}
	return string(a.Approval.State)
}

func firstReason(a *wire.Advice) string {
	if len(a.Reasons) == 0 {
		return ""
	}
	text := a.Reasons[0].Text
	const most = 90
	if len(text) > most {
		cut := strings.LastIndexByte(text[:most], ' ')
		return text[:max(cut, 0)] + " ..."
	}
	return text
}

// dayAndTime is how an instant is told in full.
const dayAndTime = "Mon 2 Jan 15:04 MST"

// pending keeps what waits for a person or, for a withdrawal, what is approved.
func pending(all []standing, verdict wire.Verdict) []standing {
	var out []standing
	for _, s := range all {
		state := s.advice.Approval.State
		if verdict == wire.Withdraw && state == policy.StateApproved || verdict != wire.Withdraw && state == policy.StatePending {
			out = append(out, s)
		}
		if older := s.older(); verdict == wire.Withdraw && older != nil {
			out = append(out, *older)
		}
	}
	return out
}

// older is the advice in force where a newer one stands already, nil where it is
// the same: from the evening on, tomorrow's stands while today's is followed.
func (s *standing) older() *standing {
	if s.inForce == nil || s.inForce.Advice == s.advice.ID {
		return nil
	}
	f := s.inForce
	return &standing{inForce: f, before: before{why: "it is the one in force; the broker shows none before it"}, advice: &wire.Advice{
		ID: f.Advice, Site: s.advice.Site, Zone: s.advice.Zone, Action: f.Action, ValidFrom: f.ValidFrom, ValidUntil: f.ValidUntil,
		Setpoints: f.Setpoints, Approval: wire.Approval{Required: true, State: policy.StateApproved, Digest: f.Digest, By: f.ApprovedBy, At: f.ApprovedAt},
	}}
}

// errRefused says that at least one decision was refused; the answers have
// been printed.
var errRefused = errors.New("not every decision was accepted; the answers above say why")
