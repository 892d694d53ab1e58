package ledger

import (
	"errors"
	"path/filepath"
	"slices"
	"testing"
)

func TestOutputsOutliveTheDaemon(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.db")
	for _, c := range []struct{ add, drop, want []string }{
		{[]string{`{"site":"north"}`, `{"site":"barn"}`}, nil, []string{`{"site":"barn"}`, `{"site":"north"}`}},
		{[]string{`{"site":"north"}`}, []string{`{"site":"barn"}`, "a/b"}, []string{`{"site":"north"}`}},
		{nil, nil, []string{`{"site":"north"}`}},
	} {
		l, err := Open(t.Context(), path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(l.AddFilters(t.Context(), []string{"a/b"}), l.AddOutputs(t.Context(), c.add), l.DropOutputs(t.Context(), c.drop)); err != nil {
			t.Fatal(err)
		}
		if got, err := l.Outputs(t.Context()); err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%q, %v; want %q", got, err, c.want)
		}
		if got, err := l.Filters(t.Context()); err != nil || !slices.Equal(got, []string{"a/b"}) {
			t.Errorf("filters %q, %v", got, err)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
