//go:build unix

package ledger

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// lock takes the ledger for this process. The kernel lets go of it when the
// process ends, however it ends. The lock lies on a file of its own beside the
// ledger: SQLite's own locks come and go with each transaction, and reports may
// read the ledger meanwhile.
func lock(path string) (*os.File, error) {
	name := path + ".lock"
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("ledger %s: %w; expected a folder that is there and that this user may write; make it, or name another path", path, err)
	}
	err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return nil, closing(fmt.Errorf("ledger %s: another daemon has it open; expected one daemon a ledger; end the other, or name another path", path), f.Close)
	}
	if err != nil {
		return nil, closing(fmt.Errorf("ledger %s: lock %s: %w; expected a local file system", path, name, err), f.Close)
	}
	return f, nil
}
