package ledger

import (
	"path/filepath"
	"testing"
)

func identity(t *testing.T, path string) string {
	t.Helper()
	l, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	id, err := l.Identity(t.Context())
	if err != nil || id == "" {
		t.Fatalf("identity %q: %v", id, err)
	}
	return id
}

func TestALedgerIsTheSameAfterARestart(t *testing.T) {
	one, two := filepath.Join(t.TempDir(), "one.db"), filepath.Join(t.TempDir(), "two.db")
	first := identity(t, one)
	if again := identity(t, one); again != first {
		t.Errorf("it was %s and is %s", first, again)
	}
	if other := identity(t, two); other == first {
		t.Errorf("two ledgers are both %s", other)
	}
}
