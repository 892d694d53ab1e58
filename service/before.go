package service

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"rhizostat/service/ledger"
	"rhizostat/service/wire"
)

// before is what an advice is compared with: the newest earlier one of its zone
// that had setpoints, whatever became of it. A person who decides wants to know what
// is new, also of what is in force by now.
type before struct {
	id        string
	setpoints *wire.Setpoint // nil when there is none to compare with
	what      string         // of it, for people
	why       string         // there is none
}

// lookBackFor is how far back the advice before one is looked for.
const lookBackFor = 14 * 24 * time.Hour

// lookBack finds the advice before each, in the ledger where there is one, else in
// what the broker shows: the one in force where that is another. A ledger that
// cannot be read keeps nobody from deciding.
func (c *Console) lookBack(ctx context.Context, all []standing) {
	for i := range all {
		all[i].before = all[i].shown()
	}
	if _, err := os.Stat(c.Ledger); c.Ledger == "" || err != nil {
		return
	}
	if err := c.fromLedger(ctx, all); err != nil {
		for i := range all {
			if b := &all[i].before; b.setpoints == nil {
				b.why += " (" + err.Error() + ")"
			}
		}
	}
}

func (c *Console) fromLedger(ctx context.Context, all []standing) (err error) {
	record, err := ledger.OpenReadOnly(ctx, c.Ledger)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, record.Close()) }()
	for i := range all {
		s := &all[i]
		earlier, err := record.Advice(ctx, s.advice.Site, s.advice.Zone, s.advice.IssuedAt.Add(-lookBackFor), s.advice.IssuedAt)
		if err != nil {
			return err
		}
		s.recorded(earlier)
	}
	return nil
}

// shown is the one before as far as the broker shows it.
func (s *standing) shown() before {
	switch f := s.inForce; {
	case s.advice.Setpoints == nil:
		return before{why: "it carries no setpoints"}
	case f != nil && f.Setpoints != nil && f.Advice != s.advice.ID:
		return before{id: f.Advice, setpoints: f, what: "the one in force"}
	case f != nil:
		return before{why: "it is in force itself, and the broker no longer shows the one before; --ledger names the daemon's ledger, which has it if there was one"}
	}
	return before{why: "the broker shows none before it; --ledger names the daemon's ledger, which has them all"}
}

// recorded takes the newest of the earlier advice, in the order of issue, for the
// one before. A ledger that does not know the advice itself is another daemon's.
func (s *standing) recorded(earlier []*wire.Advice) {
	if s.advice.Setpoints == nil || !slices.ContainsFunc(earlier, func(a *wire.Advice) bool { return a.ID == s.advice.ID }) {
		return
	}
	s.before = before{why: "there is none before it"}
	for _, a := range earlier {
		if a.ID >= s.advice.ID || a.Setpoints == nil {
			continue
		}
		state := string(a.Approval.State)
		s.before = before{id: a.ID, what: state, setpoints: &wire.Setpoint{Setpoints: a.Setpoints, Action: a.Action, ValidFrom: a.ValidFrom, ValidUntil: a.ValidUntil}}
	}
}

// change is the difference in the day's water, in a few words.
func change(s *standing) string {
	switch now := s.before.setpoints; {
	case s.advice.Setpoints == nil:
		return "-"
	case now == nil:
		return "none known"
	default:
		return fmt.Sprintf("%+d mL", scheduled(s.advice.Setpoints)-scheduled(now.Setpoints))
	}
}

// differences prints each number that the advice would change.
func (c *Console) differences(s *standing) {
	a, old := s.advice, s.before.setpoints
	if a.Setpoints == nil {
		fmt.Fprintln(c.Out, "  changes: none, it carries no setpoints")
		return
	}
	if old == nil {
		fmt.Fprintf(c.Out, "  changes: nothing to compare with: %s\n", s.before.why)
		return
	}
	fmt.Fprintf(c.Out, "  changes against the advice before it, %s (%s):\n", s.before.id, s.before.what)
	next := &wire.Setpoint{Setpoints: a.Setpoints, ValidFrom: a.ValidFrom, ValidUntil: a.ValidUntil}
	w := tabwriter.NewWriter(c.Out, 0, 0, 2, ' ', 0)
	changed := false
	row := func(name, before, after string) {
		if before != after {
			changed = true
			fmt.Fprintf(w, "  %s\t%s\t->\t%s\n", name, before, after)
		}
	}
	row("action", string(old.Action), string(a.Action))
	for _, name := range wire.PlainNames() {
		row(name, c.readable(a.Site, name, old.Plain(name)), c.readable(a.Site, name, next.Plain(name)))
	}
	row("scheduled volume", fmt.Sprintf("%d mL", scheduled(old.Setpoints)), fmt.Sprintf("%d mL", scheduled(a.Setpoints)))
	if !changed {
		fmt.Fprintln(w, "  none")
	}
	if err := w.Flush(); err != nil {
		fmt.Fprintln(c.Out, err)
	}
}

// readable shows an instant as a time of day and the rest as it is.
func (c *Console) readable(site, name string, payload []byte) string {
	if len(payload) == 0 {
		return "-"
	}
	switch name {
	case "first_shot_at", "last_shot_by", "valid_from", "valid_until":
		var s int64
		if _, err := fmt.Sscan(string(payload), &s); err == nil {
			return c.local(site, time.Unix(s, 0)).Format("2 Jan 15:04")
		}
	}
	return string(payload)
}

// question prints one line for each advice that is about to be decided on: the
// numbers that people set, and from what each has moved.
func (c *Console) question(chosen []standing) error {
	fmt.Fprintln(c.Out, c.clocks(chosen))
	w := tabwriter.NewWriter(c.Out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "ZONE\tDAY\tACTION\tFIRST SHOT\tLAST\tSHOT mL\tTRIGGER\tDAY'S mL")
	var alone []string
	for _, s := range chosen {
		a, old := s.advice, s.before.setpoints
		if old == nil {
			alone = append(alone, a.Zone)
		}
		next := &wire.Setpoint{Action: a.Action, Setpoints: a.Setpoints}
		if next.Setpoints == nil { // not one of ours: what waits has setpoints
			next.Setpoints = &wire.Setpoints{}
		}
		moved := func(of func(*wire.Setpoint) string) string {
			now := of(next)
			if old == nil {
				return now
			}
			if was := of(old); was != now {
				return was + " -> " + now
			}
			return now
		}
		clock := func(t time.Time) string {
			if t.IsZero() {
				return "-"
			}
			return c.local(a.Site, t).Format("15:04")
		}
		fmt.Fprintf(w, "%s/%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", a.Site, a.Zone, c.local(a.Site, a.ValidFrom).Format("2 Jan"),
			moved(func(p *wire.Setpoint) string { return string(p.Action) }),
			moved(func(p *wire.Setpoint) string { return clock(p.Setpoints.FirstShotAt) }),
			moved(func(p *wire.Setpoint) string { return clock(p.Setpoints.LastShotBy) }),
			moved(func(p *wire.Setpoint) string { return fmt.Sprint(p.Setpoints.ShotVolumeML) }),
			moved(func(p *wire.Setpoint) string { return fmt.Sprintf("%.3f", p.Setpoints.TriggerWaterContent) }),
			moved(func(p *wire.Setpoint) string { return fmt.Sprint(scheduled(p.Setpoints)) }))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if len(alone) > 0 {
		fmt.Fprintf(c.Out, "nothing is known to compare with: %s\n", strings.Join(alone, ", "))
	}
	return nil
}
