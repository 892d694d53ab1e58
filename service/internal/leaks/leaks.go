// Package leaks is test support: a package's tests that must leave no goroutine behind.
package leaks

import (
	"fmt"
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// patience is how long goroutines are given to end, on however busy a machine: the
// library's own is a second.
const patience = time.Minute

// Main runs a package's tests, and fails them where goroutines are left that nobody ends.
func Main(m *testing.M) {
	code := m.Run()
	if code == 0 {
		if err := left(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}

func left() (err error) {
	for end := time.Now().Add(patience); ; {
		if err = goleak.Find(); err == nil || time.Now().After(end) {
			return err
		}
	}
}
