package wire

import (
	"bytes"
	"compress/flate"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"

	"rhizostat/policy/advice"
)

// Folded is an advice as published, compressed to a fifth or less: most of it is
// sentences of the catalogue, which the compressor knows beforehand. It is for this
// process alone, another version may know others.
type Folded []byte

// Fold gives an advice in as few bytes.
func (a *Advice) Fold() (Folded, error) {
	b, err := a.Marshal()
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	w := folders.Get().(*flate.Writer)
	defer folders.Put(w)
	w.Reset(&out)
	if _, err := w.Write(b); err != nil {
		return nil, fmt.Errorf("advice %s: %w", a.ID, err)
	}
	if err := w.Close(); err != nil {
		return nil, fmt.Errorf("advice %s: %w", a.ID, err)
	}
	return bytes.Clone(out.Bytes()), nil // without the room to grow
}

// Payload gives the published bytes, as Marshal gave them.
func (f Folded) Payload() ([]byte, error) {
	r := unfolders.Get().(io.ReadCloser)
	defer unfolders.Put(r)
	if err := r.(flate.Resetter).Reset(bytes.NewReader(f), known()); err != nil {
		return nil, fmt.Errorf("folded advice of %d bytes: %w", len(f), err)
	}
	b, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("folded advice of %d bytes: %w", len(f), err)
	}
	return b, nil
}

// Unfold gives the advice.
func (f Folded) Unfold() (*Advice, error) {
	b, err := f.Payload()
	if err != nil {
		return nil, err
	}
	return ParseAdvice(b)
}

// A compressor works in a megabyte: it is there while it is used, and some time after.
var (
	folders = sync.Pool{New: func() any {
		w, err := flate.NewWriterDict(nil, flate.BestCompression, known())
		if err != nil {
			panic(err) // the level is one of the library's
		}
		return w
	}}
	unfolders = sync.Pool{New: func() any { return flate.NewReader(nil) }}
)

// known is what the compressor knows beforehand: the sentences and, nearest, the names.
var known = sync.OnceValue(func() []byte {
	var b strings.Builder
	// A compressor looks back 32 KiB, which the catalogue outgrows: what is said of a day of
	// water, its first sentences, comes last.
	for _, e := range slices.Backward(advice.Catalogue()) {
		fmt.Fprintf(&b, `{"code":%q,"text":%q},`, e.Code, e.Text)
	}
	b.WriteString(`"id":"01","site":"","zone":"","issued_at":"202","valid_from":"2026-0","valid_until":"202","action":"withhold","action":"irrigate",` +
		`"setpoints":{"first_shot_at":"202","last_shot_by":"202","trigger_water_content":0.,"target_water_content":0.,"trigger_by_probe":{"p1":0.},` +
		`"shot_volume_ml":1,"run_time_s":1,"min_interval_s":1,"max_volume_ml":1,"drain_fraction":0.1,"schedule":[{"at":"202:00Z","volume_ml":1,"run_time_s":1},` +
		`"expected":{"peak_water_content":0.,"trough_water_content":0.,"overnight_dryback":0.,"min_air_filled_porosity":0.,"saturation_s":0,"uptake_ml":1,"drain_ml":1},` +
		`"reasons":[{"code":","text":"}],"confidence":0.,"approval":{"required":true,"state":"pending","decide_by":"202","digest":"sha-256:","by":"","at":"202"},"cautions":[`)
	return []byte(b.String())
})
