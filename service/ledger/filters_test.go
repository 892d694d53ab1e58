package ledger

import (
	"errors"
	"path/filepath"
	"slices"
	"testing"
)

func TestFiltersOutliveTheDaemon(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.db")
	for _, c := range []struct{ add, drop, want []string }{
		{nil, nil, nil},
		{[]string{"plc/+/value", "a/b", "a/b"}, nil, []string{"a/b", "plc/+/value"}},
		{[]string{"spBv1.0/farm/DDATA/plc9/+"}, []string{"a/b", "not/there"}, []string{"plc/+/value", "spBv1.0/farm/DDATA/plc9/+"}},
		{nil, nil, []string{"plc/+/value", "spBv1.0/farm/DDATA/plc9/+"}},
	} {
		l, err := Open(t.Context(), path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(l.AddFilters(t.Context(), c.add), l.DropFilters(t.Context(), c.drop)); err != nil {
			t.Fatal(err)
		}
		if got, err := l.Filters(t.Context()); err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%q, %v; want %q", got, err, c.want)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
