package ledger

import (
	"errors"
	"path/filepath"
	"slices"
	"testing"
)

func TestAnchorsOutliveTheDaemon(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.db")
	for _, c := range []struct {
		add  string
		drop []string
		want []string
	}{
		{"north", nil, []string{"north"}},
		{"barn", nil, []string{"barn", "north"}},
		{"north", []string{"shed"}, []string{"north", "barn"}},
		{"north", []string{"barn"}, []string{"north"}},
	} {
		l, err := Open(t.Context(), path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(l.AddFilters(t.Context(), []string{"a/b"}), l.AddAnchor(t.Context(), c.add), l.DropAnchors(t.Context(), c.drop)); err != nil {
			t.Fatal(err)
		}
		if got, err := l.Anchors(t.Context()); err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%q, %v; want %q", got, err, c.want)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
