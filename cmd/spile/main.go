// Command spile watches the tanks of a brewery's cellar: it hears hydrometers
// and tank probes over MQTT, keeps every reading, and wakes a person when
// finished beer ferments again, warms up, or builds pressure. Each subcommand
// has a file of its own; none of them holds logic beyond turning arguments,
// config and signals into options and a context.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	_ "time/tzdata" // small machines may have no time zones of their own

	"github.com/alecthomas/kong"
)

// The exit codes of every command.
const (
	exitOK     = 0
	exitFailed = 1
	exitUsage  = 2
)

// commands is the command line.
type commands struct {
	Run        runCommand        `cmd:"" help:"Watch the cellar: the daemon."`
	Demo       demoCommand       `cmd:"" help:"Show what spile does, on a simulated cellar that publishes to it over real MQTT."`
	Check      checkCommand      `cmd:"" help:"Read the config and print what is in force, or walk the journal."`
	Log        logCommand        `cmd:"" help:"Write a line into the cellar log of the running daemon."`
	Status     statusCommand     `cmd:"" help:"Show the cellar of the running daemon in one screen."`
	Report     reportCommand     `cmd:"" help:"Show a tank's batch: hold points, brew sheet, what was done and called, what is open."`
	Replay     replayCommand     `cmd:"" help:"Run a capture through the same code on its own clock."`
	Calc       calcCommand       `cmd:"" help:"The physics as a hand calculator."`
	Trial      trialCommand      `cmd:"" help:"Detection quality on simulated cellars: false calls, misses, delays."`
	Backup     backupCommand     `cmd:"" help:"Copy the journal, safely while the daemon writes it."`
	Restore    restoreCommand    `cmd:"" help:"Put a copy of the journal back, while no daemon runs."`
	TryWebhook tryWebhookCommand `cmd:"" name:"try-webhook" help:"Send a marked test notification and print what came back."`
	Receive    receiveCommand    `cmd:"" help:"Somebody to call, for trying: prints what a webhook sends."`
	Version    kong.VersionFlag  `help:"Print the version."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := execute(ctx, os.Args[1:], streams{out: os.Stdout, err: os.Stderr})
	stop()
	os.Exit(code)
}

// exit carries an exit code out of the parser, which ends the program itself
// after --help and --version.
type exit int

// execute runs one command line and gives its exit code.
func execute(ctx context.Context, args []string, s streams) (code int) {
	defer func() {
		switch v := recover().(type) {
		case nil:
		case exit:
			code = int(v)
		default:
			panic(v)
		}
	}()
	var c commands
	parser, err := kong.New(&c,
		kong.Name("spile"),
		kong.Description("Watches the tanks of a cellar, and wakes a person when, and only when, it matters.\n\n"+
			"spile is no safety device: relief valves, vacuum breakers, CO2 meters and the people licensed for them protect people."),
		kong.Vars{"version": version()},
		kong.Writers(s.out, s.err),
		kong.Exit(func(n int) { panic(exit(n)) }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(&s),
	)
	if err != nil {
		return report(s.err, err)
	}
	command, err := parser.Parse(args)
	if err != nil {
		return report(s.err, usageError{err})
	}
	return report(s.err, command.Run())
}

// report prints an error and gives the exit code that goes with it.
func report(to io.Writer, err error) int {
	var usage usageError
	switch {
	case err == nil:
		return exitOK
	case errors.As(err, &usage):
		fmt.Fprintf(to, "spile: %v\n", err)
		return exitUsage
	}
	fmt.Fprintf(to, "spile: %v\n", err)
	return exitFailed
}

// release is stamped by the linker when a release is built.
var release string //nolint:gochecknoglobals // -ldflags "-X main.release=…" can only set a variable

// version is the release, or else the revision that was built.
func version() string {
	if release != "" {
		return release
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "development"
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return "development " + s.Value[:12]
		}
	}
	return "development"
}
