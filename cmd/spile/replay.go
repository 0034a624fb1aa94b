package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"spile/alert"
	"spile/cmd/daemon"
	"spile/detect/scenario"
)

// replayCommand runs a recorded night through the same code.
type replayCommand struct {
	Config  string `type:"path" help:"The config whose tanks, probes and alarms are in force."`
	Format  string `enum:"text,ndjson" default:"text" help:"Text for people, or NDJSON: one line per step of an alarm."`
	Expect  string `type:"path" help:"A scenario whose expectations the outcome must meet."`
	Capture string `arg:"" help:"The capture, NDJSON in order of arrival; - for standard input."`
}

// Run replays the capture and prints what the daemon would have raised.
func (c *replayCommand) Run(ctx context.Context, s *streams) error {
	_, o, err := configure(c.Config)
	if err != nil {
		return err
	}
	from, err := openCapture(c.Capture)
	if err != nil {
		return err
	}
	defer func() { _ = from.Close() }() // it was only read
	failed := error(nil)
	told := teller{out: s.out, words: alert.Words{Zone: o.Zone, Display: o.Display}}.tell
	if c.Format == "ndjson" {
		out := json.NewEncoder(s.out)
		told = func(steps []alert.Transition) {
			for _, t := range steps {
				failed = errors.Join(failed, out.Encode(t))
			}
		}
	}
	var steps []alert.Transition
	done, err := daemon.Replay(ctx, o, from, func(more []alert.Transition) {
		steps = append(steps, more...)
		told(more)
	})
	if err != nil {
		return errors.Join(fmt.Errorf("replay %s: %w", c.Capture, err), failed)
	}
	if mistake := notACapture(c.Capture, done); mistake != nil {
		return errors.Join(mistake, failed)
	}
	summarize(s.err, done)
	if c.Expect != "" {
		failed = errors.Join(failed, hold(c.Expect, steps, done.From, done.To))
	}
	return failed
}

// notACapture says that a scenario was given where the capture belongs. Any other file counts its bad lines.
func notACapture(path string, done daemon.Replayed) error {
	if path == "-" || done.Messages > 0 || done.BadLines == 0 {
		return nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if _, err := scenario.Parse(path, string(text)); err != nil && filepath.Ext(path) != ".scenario" {
		return nil
	}
	return fmt.Errorf("%s is a scenario, no capture: give it by --expect, and behind it the capture that is held against it, "+
		"as spile replay --expect %[1]s CAPTURE", path)
}

func openCapture(path string) (io.ReadCloser, error) {
	if path == "-" {
		return io.NopCloser(os.Stdin), nil
	}
	return os.Open(path)
}

// summarize says what the capture held and what of it could not be taken.
func summarize(to io.Writer, done daemon.Replayed) {
	if done.Messages == 0 {
		fmt.Fprintln(to, "0 messages: a capture has one in each line, as spile run --capture FILE writes it")
	} else {
		fmt.Fprintf(to, "%d messages from %s to %s\n", done.Messages,
			done.From.Format("2006-01-02 15:04"), done.To.Format("2006-01-02 15:04"))
	}
	for _, b := range done.First {
		fmt.Fprintf(to, "bad %s\n", b)
	}
	if more := done.BadLines - len(done.First); more > 0 {
		fmt.Fprintf(to, "and %d more bad lines\n", more)
	}
	for _, r := range done.Refusals {
		fmt.Fprintf(to, "refused %s on %s: %s\n", r.Reason, r.Topic, r.Detail)
	}
}
