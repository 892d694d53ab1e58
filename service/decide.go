package service

import (
	"bufio"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/go-jose/go-jose/v4"

	"rhizostat/service/link"
	"rhizostat/service/wire"
)

// Decide is what a person wants done with advice.
type Decide struct {
	Console
	Verdict    wire.Verdict
	Advice     []string // ids; empty with AllPending
	AllPending bool
	Yes        bool // do not ask
	By, Note   string
	Covers     *wire.Covers
	KeyFile    string // Ed25519 seed, base64url; "" says it plainly
	In         io.Reader
	Wait       time.Duration // for the answer to each
}

// Do sends one decision for each advice, each with its own digest, and prints
// the daemon's answers.
func (d *Decide) Do(ctx context.Context) error {
	var key ed25519.PrivateKey
	if d.KeyFile != "" {
		var err error
		if key, err = readKey(d.KeyFile); err != nil {
			return err
		}
	}
	visit, err := link.Visit(ctx, d.Link, "decide-"+strings.ToLower(rand.Text()[:8]))
	if err != nil {
		return err
	}
	defer visit.Close()
	all, err := d.read(ctx, visit)
	if err != nil {
		return err
	}
	chosen, err := d.choose(all)
	if err != nil {
		return err
	}
	if d.AllPending && !d.Yes {
		if ok, err := d.ask(chosen); err != nil || !ok {
			return err
		}
	}
	refused := false
	var silent []string
	for _, s := range chosen {
		result, err := d.send(ctx, visit, s.advice, key)
		switch {
		case err != nil:
			return err
		case result == nil:
			silent = append(silent, s.advice.Site+"/"+s.advice.Zone)
		default:
			refused = !d.answer(s.advice, result) || refused
		}
	}
	switch {
	case len(silent) > 0: // the others were not kept from their decisions
		return fmt.Errorf("%s: no answer within %s; the daemon may be away; the decision waits for it on the broker", some(silent), d.Wait)
	case refused:
		return errRefused
	}
	return nil
}

// choose finds the advice that is meant; what cannot be decided on is an error
// before anything is sent.
func (d *Decide) choose(all []standing) ([]standing, error) {
	if d.AllPending || len(d.Advice) == 0 {
		chosen := pending(all, d.Verdict)
		if len(chosen) == 0 {
			return nil, d.nothing(all)
		}
		if !d.AllPending && len(chosen) > 1 {
			what := "name one with --zone, or all of them with --all-pending"
			if len(d.Zones) > 0 {
				what = fmt.Sprintf("name them by their ids, or say --all-pending to %s all that these zones have", d.Verdict)
			}
			return nil, NotFoundError{fmt.Sprintf("%s can be said of %d: %s; %s", d.Verdict, len(chosen), several(chosen), what)}
		}
		return chosen, nil
	}
	var chosen []standing
	for _, id := range d.Advice {
		found := false
		for _, s := range all {
			if s.advice.ID == id {
				chosen = append(chosen, s)
				found = true
			}
			if older := s.older(); older != nil && older.advice.ID == id {
				chosen = append(chosen, *older)
				found = true
			}
		}
		if !found {
			return nil, NotFoundError{fmt.Sprintf("advice %s does not stand under %s/%s; see rhizostat advice", id, d.Root, orAny(d.Site))}
		}
	}
	return chosen, nil
}

// nothing says that there is no advice to decide on so, and how those stand that
// there are.
func (d *Decide) nothing(all []standing) error {
	var each []string
	for _, s := range all {
		state := string(s.advice.Approval.State)
		if !s.advice.Approval.Required {
			state = "an inspect, which nobody approves"
		}
		each = append(each, s.advice.Zone+" is "+state)
	}
	verb := map[wire.Verdict]string{wire.Approve: "waits to be approved", wire.Reject: "waits to be rejected", wire.Withdraw: "is approved, so that it could be withdrawn"}[d.Verdict]
	if len(d.Zones) == 1 && len(all) == 1 {
		return NotFoundError{fmt.Sprintf("no advice of zone %s %s (it%s); see rhizostat advice", d.Zones[0], verb, strings.TrimPrefix(each[0], all[0].advice.Zone))}
	}
	return NotFoundError{fmt.Sprintf("no advice under %s/%s %s (%s); see rhizostat advice", d.Root, orAny(d.Site), verb, some(each))}
}

// several tells a few of them, for somebody who must choose.
func several(chosen []standing) string {
	const most = 4
	var out []string
	for i, s := range chosen {
		if i == most {
			out = append(out, "...")
			break
		}
		out = append(out, fmt.Sprintf("%s/%s %s", s.advice.Site, s.advice.Zone, s.advice.ID))
	}
	return strings.Join(out, ", ")
}

// ask shows what is about to be decided, once for all.
func (d *Decide) ask(chosen []standing) (bool, error) {
	if err := d.question(chosen); err != nil {
		return false, err
	}
	these := "this one"
	if len(chosen) > 1 {
		these = fmt.Sprintf("these %d", len(chosen))
	}
	fmt.Fprintf(d.Out, "%s %s as %s? Each zone gets its own decision. [y/N] ", d.Verdict, these, d.By)
	line, err := bufio.NewReader(d.In).ReadString('\n')
	if err != nil && err != io.EOF {
		return false, fmt.Errorf("answer: %w", err)
	}
	switch strings.ToLower(strings.TrimSpace(line)) {
	case "y", "yes":
		return true, nil
	}
	fmt.Fprintln(d.Out, "nothing was sent")
	return false, nil
}

// send publishes one decision and waits for its answer, nil when none came in time.
func (d *Decide) send(ctx context.Context, visit *link.Client, a *wire.Advice, key ed25519.PrivateKey) (*wire.Result, error) {
	decision := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: d.Verdict, By: d.By, Note: d.Note, Covers: d.Covers}
	payload, err := decision.Marshal()
	if err != nil {
		return nil, err
	}
	if key != nil {
		if payload, err = sign(payload, key); err != nil {
			return nil, err
		}
	}
	topics := wire.Topics{Root: d.Root, Site: a.Site}
	answer := topics.DecisionResult(a.Zone)
	if err := visit.Subscribe(ctx, answer); err != nil {
		return nil, err
	}
	if err := visit.Publish(ctx, topics.Decision(a.Zone), payload); err != nil {
		return nil, err
	}
	waiting, stop := context.WithTimeout(ctx, d.Wait)
	defer stop()
	var result wire.Result
	_, err = visit.Await(waiting, func(r link.Received) bool {
		if r.Topic != answer {
			return false
		}
		result, err = wire.ParseResult(r.Payload)
		// What is signed and cannot be read is answered without a name. Other people's
		// decisions are answered on the same topic.
		return err == nil && (result.Advice == a.ID && result.Decision == d.Verdict && result.By == d.By || result.Advice == "" && key != nil)
	})
	if err == nil {
		return &result, nil
	}
	if ctx.Err() != nil { // whoever asked has gone
		return nil, ctx.Err()
	}
	return nil, nil
}

// answer prints what became of a decision and reports whether it was accepted.
func (d *Decide) answer(a *wire.Advice, result *wire.Result) bool {
	if result.Result == wire.Accepted {
		fmt.Fprintf(d.Out, "%s/%s: %s accepted, advice %s\n", a.Site, a.Zone, result.Decision, a.ID)
		return true
	}
	reason := wire.Reason{Text: "no reason given"}
	if result.Reason != nil {
		reason = *result.Reason
	}
	fmt.Fprintf(d.Out, "%s/%s: refused (%s): %s\n", a.Site, a.Zone, reason.Code, reason.Text)
	return false
}

// sign wraps a decision as a compact JWS (RFC 7515, EdDSA of RFC 8037).
func sign(payload []byte, key ed25519.PrivateKey) ([]byte, error) {
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.EdDSA, Key: key}, nil)
	if err != nil {
		return nil, fmt.Errorf("sign the decision: %w", err)
	}
	object, err := signer.Sign(payload)
	if err != nil {
		return nil, fmt.Errorf("sign the decision: %w", err)
	}
	compact, err := object.CompactSerialize()
	if err != nil {
		return nil, fmt.Errorf("sign the decision: %w", err)
	}
	return []byte(compact), nil
}

// readKey reads an Ed25519 seed, 32 bytes in base64url.
func readKey(path string) (ed25519.PrivateKey, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("key: %w", err)
	}
	seed, err := base64.RawURLEncoding.DecodeString(strings.TrimRight(strings.TrimSpace(string(data)), "="))
	if err != nil || len(seed) != ed25519.SeedSize {
		return nil, fmt.Errorf("key %s: not an Ed25519 seed; expected 32 bytes in base64url; make one with rhizostat decide --new-key", path)
	}
	return ed25519.NewKeyFromSeed(seed), nil
}

// NewKey writes a new key to a file that only its owner reads, and gives the
// public key for the site file.
func NewKey(path string) (string, error) {
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return "", fmt.Errorf("new key: %w", err)
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", fmt.Errorf("new key: %w; an existing key is never overwritten", err)
	}
	if _, err := fmt.Fprintln(file, base64.RawURLEncoding.EncodeToString(private.Seed())); err != nil {
		file.Close()
		return "", fmt.Errorf("new key: %w", err)
	}
	if err := file.Close(); err != nil {
		return "", fmt.Errorf("new key: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(public), nil
}
