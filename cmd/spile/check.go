package main

import (
	"context"
	"errors"
	"fmt"

	"spile/alert"
	"spile/alert/webhook"
	"spile/cmd/daemon"
	"spile/ingest"
	"spile/ingest/journal"
)

// checkCommand reads the config, or walks the journal.
type checkCommand struct {
	Config  string `type:"path" help:"The config, YAML; without one the defaults are shown."`
	Journal bool   `help:"Walk the journal and report what is broken in it. It may be in use meanwhile."`
}

// Run prints what is in force, or what is wrong.
func (c *checkCommand) Run(ctx context.Context, s *streams) error {
	read, o, err := configure(c.Config)
	if err != nil {
		return err
	}
	if c.Journal {
		return checkJournal(ctx, s, o.Data)
	}
	if err := wouldStart(o); err != nil {
		return err
	}
	if err := read.Print(s.out); err != nil {
		return err
	}
	for _, w := range read.Warnings() {
		fmt.Fprintln(s.out, "note:", w)
	}
	return nil
}

// wouldStart makes the parts that a config can spoil, without starting them.
func wouldStart(o daemon.Options) error {
	_, sources := ingest.NewDecoder(o.Decoder)
	_, hooks := webhook.New(webhook.Options{Webhooks: o.Webhooks, Words: alert.Words{Zone: o.Zone, Display: o.Display}})
	return errors.Join(sources, hooks)
}

// errFaults says that the journal is not sound.
var errFaults = errors.New("the journal has faults")

// checkJournal walks a journal that may be in use.
func checkJournal(ctx context.Context, s *streams, dir string) (err error) {
	j, err := journal.Open(ctx, journal.Options{Dir: dir, ReadOnly: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	faults, err := j.Check(ctx, 0)
	if err != nil {
		return err
	}
	last, err := j.Last(ctx)
	if err != nil {
		return err
	}
	for _, f := range faults {
		fmt.Fprintln(s.out, f)
	}
	if len(faults) > 0 {
		return fmt.Errorf("%w: %d found in %d entries", errFaults, len(faults), last)
	}
	_, err = fmt.Fprintf(s.out, "%s: %d entries, nothing broken\n", dir, last)
	return err
}
