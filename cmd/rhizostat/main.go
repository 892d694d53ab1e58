// Command rhizostat keeps container root zones where they hold both water and
// air: it reads substrate telemetry, learns what each zone does, and proposes
// setpoints that a person approves. The words on its command line are parsed
// here; what they do is the service's.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/alecthomas/kong"
)

// version is set by the linker.
var version = "dev"

// Exit codes.
const (
	exitOK    = 0
	exitError = 1 // it was tried and went wrong
	exitUsage = 2 // it was asked in a wrong way: flags, files, settings
)

// usageError is a mistake of whoever typed the command, or wrote the file.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// streams are where a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

type words struct {
	Run     runCommand       `cmd:"" help:"Run the daemon."`
	Demo    demoCommand      `cmd:"" help:"Play an invented facility with its own broker, to see the loop closed."`
	Check   checkCommand     `cmd:"" help:"Check site files and print what the physics makes of each zone."`
	Replay  replayCommand    `cmd:"" help:"Feed a recording through the engine and print what would have been published."`
	Advice  adviceCommand    `cmd:"" help:"List the standing advice of a site."`
	Decide  decideCommand    `cmd:"" help:"Approve, reject or withdraw advice."`
	Report  reportCommand    `cmd:"" help:"Draw and list a zone's days out of the ledger or a recording."`
	Version kong.VersionFlag `help:"Print the version."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr}))
}

// run is the whole program but for the process around it.
func run(ctx context.Context, args []string, io streams) int {
	var cli words
	exited := -1
	parser, err := kong.New(&cli,
		kong.Name("rhizostat"),
		kong.Description("Keeps every container's root zone where it holds both water and air. Reads substrate telemetry from MQTT, "+
			"learns what each zone does, and publishes setpoints for the irrigation day that a person approves. "+
			"All its output is advice: the person on site decides."),
		kong.Vars{"version": version},
		kong.Writers(io.out, io.err),
		kong.Exit(func(code int) { exited = code }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}),
		kong.UsageOnError(),
	)
	if err != nil {
		fmt.Fprintln(io.err, "rhizostat:", err)
		return exitError
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if exited >= 0 {
		return exited
	}
	if err != nil {
		fmt.Fprintf(io.err, "rhizostat: %s; see rhizostat --help\n", strings.TrimSpace(err.Error()))
		return exitUsage
	}
	parsed.BindTo(ctx, (*context.Context)(nil))
	parsed.Bind(io)
	return exitCode(parsed.Run(), io.err)
}

// exitCode says what went wrong and gives the status to end with.
func exitCode(err error, w io.Writer) int {
	var usage usageError
	switch {
	case err == nil, errors.Is(err, context.Canceled):
		return exitOK
	case errors.As(err, &usage):
		fmt.Fprintln(w, "rhizostat:", err)
		return exitUsage
	}
	fmt.Fprintln(w, "rhizostat:", err)
	return exitError
}
