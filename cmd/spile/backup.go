package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"spile/ingest/journal"
)

// backupCommand copies the journal, while it is written or not.
type backupCommand struct {
	Config string `type:"path" help:"The config, YAML; it says where the journal lies."`
	To     string `arg:"" type:"path" help:"The copy. It must not be there yet."`
}

// Run writes the copy and says what is in it.
func (c *backupCommand) Run(ctx context.Context, s *streams) (err error) {
	_, o, err := configure(c.Config)
	if err != nil {
		return err
	}
	j, err := journal.Open(ctx, journal.Options{Dir: o.Data, ReadOnly: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	if err := j.Backup(ctx, c.To); err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "%s: a whole copy of %s\n", c.To, o.Data)
	return err
}

// restoreCommand puts a copy back.
type restoreCommand struct {
	Config string `type:"path" help:"The config, YAML; it says where the journal lies."`
	From   string `arg:"" type:"existingfile" help:"A copy that spile backup made."`
}

// Run takes the journal's place while no daemon runs, and keeps what was there.
func (c *restoreCommand) Run(ctx context.Context, s *streams) error {
	_, o, err := configure(c.Config)
	if err != nil {
		return err
	}
	aside, err := journal.Restore(ctx, o.Data, c.From, time.Now())
	if err != nil {
		return err
	}
	if aside != "" {
		fmt.Fprintf(s.out, "what was there stands aside as %s\n", aside)
	}
	_, err = fmt.Fprintf(s.out, "%s: restored from %s\n", o.Data, c.From)
	return err
}
