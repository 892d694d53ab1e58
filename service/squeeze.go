package service

import (
	"bytes"
	"fmt"
	"io"
	"sync"

	"github.com/klauspost/compress/zlib"
)

// squeezer makes snapshots small, as zlib (RFC 1950), whose checksum tells one that a disk
// has changed: most of one is rings that are still empty, and sentences. The standard
// library's takes three times as long. What a compressor works in is 1.2 MB, some hundred
// times what it works on, so one serves all zones, one after the other. The zero value is
// ready.
type squeezer struct {
	mu  sync.Mutex
	to  *zlib.Writer
	out bytes.Buffer
}

// squeeze gives the parts as one, compressed.
func (s *squeezer) squeeze(parts ...[]byte) ([]byte, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.out.Reset()
	if s.to == nil {
		to, err := zlib.NewWriterLevel(&s.out, zlib.BestSpeed)
		if err != nil {
			return nil, err
		}
		s.to = to
	} else {
		s.to.Reset(&s.out)
	}
	for _, p := range parts {
		if _, err := s.to.Write(p); err != nil {
			return nil, err
		}
	}
	if err := s.to.Close(); err != nil {
		return nil, err
	}
	return bytes.Clone(s.out.Bytes()), nil
}

// maxSnapshot bounds what a damaged snapshot may swell to, bytes.
const maxSnapshot = 1 << 20

// unsqueezer gives back what a squeezer has made small. What it gives is good until the
// next. The zero value is ready; it is for one goroutine.
type unsqueezer struct {
	in   bytes.Reader
	from io.ReadCloser // a zlib.Resetter
	out  bytes.Buffer
}

func (u *unsqueezer) unsqueeze(data []byte) ([]byte, error) {
	u.out.Reset()
	err := u.begin(data)
	if err == nil {
		_, err = u.out.ReadFrom(io.LimitReader(u.from, maxSnapshot))
	}
	if err != nil {
		return nil, fmt.Errorf("snapshot of %d bytes is damaged: %w", len(data), err)
	}
	return u.out.Bytes(), nil
}

func (u *unsqueezer) begin(data []byte) (err error) {
	u.in.Reset(data)
	if u.from == nil {
		u.from, err = zlib.NewReader(&u.in)
		return err
	}
	return u.from.(zlib.Resetter).Reset(&u.in, nil)
}
