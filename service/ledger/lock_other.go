//go:build !unix

package ledger

import (
	"fmt"
	"os"
)

// lock refuses: without a lock that ends with its process two daemons could
// write one ledger.
func lock(path string) (*os.File, error) {
	return nil, fmt.Errorf("ledger %s: this system has no file locks that end with a process; expected a Unix system; leave the ledger out", path)
}
