package main

import (
	"errors"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// The commands are tried as they are used: the scripts run this very program.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"rhizostat": main})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 filepath.Join("..", "..", "testdata", "scripts"),
		RequireExplicitExec: true,
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"status":   status,
			"sentence": sentence,
		},
	})
}

// status runs a command and wants its exit status: status 2 rhizostat check x.
func status(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status code command [args...]")
	}
	want, err := strconv.Atoi(args[0])
	if err != nil {
		ts.Fatalf("status %q is no number", args[0])
	}
	got := 0
	var exit *exec.ExitError
	if err := ts.Exec(args[1], args[2:]...); errors.As(err, &exit) {
		got = exit.ExitCode()
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if got != want {
		ts.Fatalf("%s ended with status %d, want %d", strings.Join(args[1:], " "), got, want)
	}
}

// sentence wants one sentence on the standard error of the last command, as
// people are told: where, what is wrong, what was expected; no capital after the
// program's name, no full stop, no library's stack of words.
func sentence(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 0 {
		ts.Fatalf("usage: sentence")
	}
	text := ts.ReadFile("stderr")
	line := strings.TrimSuffix(text, "\n")
	rest, ok := strings.CutPrefix(line, "rhizostat: ")
	switch {
	case !ok:
		ts.Fatalf("standard error does not begin with the program's name: %q", text)
	case strings.Contains(line, "\n"):
		ts.Fatalf("standard error is more than one sentence:\n%s", text)
	case strings.HasSuffix(rest, "."), strings.Contains(rest, "failed to"), strings.Contains(rest, "Usage:"):
		ts.Fatalf("standard error is no sentence of ours: %q", text)
	case len(rest) < 10:
		ts.Fatalf("standard error says hardly anything: %q", text)
	}
}
