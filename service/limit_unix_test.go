//go:build unix

package service

import (
	"fmt"
	"os"
	"os/signal"
	"strconv"
	"syscall"
)

// limitEnv bounds the size of the files that a child writes, bytes: a disk that
// gets full.
const limitEnv = "SERVICE_TEST_LIMIT"

func limitChild() error {
	text := os.Getenv(limitEnv)
	if text == "" {
		return nil
	}
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil {
		return fmt.Errorf("%s: %w", limitEnv, err)
	}
	signal.Ignore(syscall.SIGXFSZ) // the write fails instead
	return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: n, Max: 1 << 40})
}
