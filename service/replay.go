package service

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"time"

	"rhizostat/service/intake"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// barrier begins the topics that are written back once all before them has
// been processed: a simulator over a pipe keeps step with them.
const barrier = "$replay/"

// Replay feeds a recording through the same zones, desks and ledger as the
// daemon's, without a broker and without a clock of its own, and writes what
// would have been published. With a ledger it goes on from what is there, and
// leaves what it learned; readings that still wait to be put in order at the end
// then wait in the ledger too, so that a recording in two parts gives what it
// gives in one. Of Sparkplug B edge nodes the second part must begin with their birth
// certificates, which name their metrics and are in no ledger: without them nothing of
// an edge node is read, and it is asked for them. Without a ledger the readings that
// wait are processed at the end. What the recording marks
// as retained is taken as the daemon takes it: no reading of now, and nobody's decision.
func Replay(ctx context.Context, s Settings, in io.Reader, out io.Writer, log *slog.Logger) error {
	return replayWatched(ctx, s, in, out, nil, log)
}

// replayWatched is Replay with somebody who looks on.
func replayWatched(ctx context.Context, s Settings, in io.Reader, out io.Writer, watch *watcher, log *slog.Logger) (err error) {
	s.Clock = "telemetry"
	sites, err := loadSites(s.Sites, log)
	if err != nil {
		return err
	}
	path := s.Ledger
	if path == "" {
		path = ledger.InMemory
	}
	l, err := ledger.Open(ctx, path, ledger.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	h, err := newHouse(ctx, s, sites, l, newMetrics("replay"), 1, log)
	if err != nil {
		return err
	}
	r := &replay{house: h, lot: h.lots[0], out: bufio.NewWriterSize(out, 64<<10)}
	h.publish = r.write
	h.watch = watch
	h.telemetry = func(zone int, t shard.Telemetry) { r.lot.shard.Telemetry(h.places[zone].index, t) }
	h.control = func(zone int, c shard.Control) { r.lot.shard.Control(h.places[zone].index, c) }
	if c, ok := in.(io.Closer); ok { // a reader that waits for its next line hears of the end so
		defer context.AfterFunc(ctx, func() { _ = c.Close() })()
	}
	if err := r.run(ctx, in); err != nil {
		if ctx.Err() == nil {
			return err
		}
		// what was worked out so far stands
		r.skipped.summarize(log)
		return errors.Join(fmt.Errorf("interrupted after line %d of the recording", r.lines), r.end(s), r.flush())
	}
	if err := r.end(s); err != nil {
		return err
	}
	r.skipped.summarize(log)
	return r.flush()
}

// end works off what still waits, and leaves it in the ledger if there is one.
func (r *replay) end(s Settings) error {
	if s.Ledger != "" {
		return r.house.close()
	}
	r.lot.shard.DrainAll()
	r.lot.flush()
	return nil
}

type replay struct {
	house   *house
	lot     *lot
	out     *bufio.Writer
	line    []byte
	lines   int // fed so far
	skipped skippedLines
	failed  error // of writing
}

// run feeds every line. Each is processed whole before the next.
func (r *replay) run(ctx context.Context, in io.Reader) error {
	reader := newRecordingReader(in)
	for ctx.Err() == nil {
		rec, err := reader.next()
		r.lines++
		var bad *LineError
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case strings.HasPrefix(rec.Topic, barrier):
			// whatever else the line says: somebody waits for it
			if err := r.barrier(&rec); err != nil {
				return err
			}
			continue
		case errors.As(err, &bad):
			r.house.metrics.Refused(string(bad.counted()))
			r.skipped.note(r.house.log, bad.reason, bad.Line, "error", bad)
			continue
		case err != nil:
			return err
		}
		r.feed(&rec)
		r.lot.flush()
		if r.failed != nil {
			return r.failed
		}
	}
	return ctx.Err()
}

// feed takes one message: telemetry, a person's word, or something of our own
// that was recorded too and is left out.
func (r *replay) feed(rec *recorded) {
	h := r.house
	if p, ok := wire.Parse(h.settings.TopicRoot, rec.Topic); ok && p.Kind != wire.KindTelemetry {
		said := p.Kind == wire.KindDecision || p.Kind == wire.KindEvent
		if said && rec.Retained {
			// as in the daemon: what a broker kept is nobody's word of now
			h.metrics.Refused(string(intake.Retained))
			r.skipped.note(h.log, retained, rec.Line, "topic", rec.Topic)
			return
		}
		if !h.person(rec.Topic, append([]byte(nil), rec.Payload...), rec.Stamp, nil) && said {
			h.metrics.Refused(string(unknownZone))
			r.skipped.note(h.log, unknownZone, rec.Line, "topic", rec.Topic)
		}
		return
	}
	if rec.Retained {
		h.take(h.router.DecodeRetained, rec.Topic, rec.Payload, rec.Stamp)
		return
	}
	h.receive(rec.Topic, rec.Payload, rec.Stamp)
}

// barrier writes the line back after everything before it.
func (r *replay) barrier(rec *recorded) error {
	r.lot.shard.DrainAll()
	r.lot.flush()
	if _, err := r.out.Write(append(append([]byte(nil), rec.Raw...), '\n')); err != nil {
		return fmt.Errorf("output: %w", err)
	}
	return r.flush()
}

func (r *replay) flush() error {
	if r.failed != nil {
		return r.failed
	}
	if err := r.out.Flush(); err != nil {
		return fmt.Errorf("output: %w", err)
	}
	return nil
}

// write prints a message as a line of a recording.
func (r *replay) write(_ int, m wire.Message, at time.Time) {
	if r.failed != nil {
		return
	}
	line, err := appendRecorded(r.line[:0], at, m.Topic, m.Payload, m.QoS, m.Retain)
	if err == nil {
		r.line = line
		_, err = r.out.Write(line)
	}
	if err != nil {
		r.failed = fmt.Errorf("output: %w", err)
	}
}
