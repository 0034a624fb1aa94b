package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"time"

	"spile/alert"
	"spile/detect"
	"spile/detect/trial"
)

// trialCommand measures detection on simulated cellars.
type trialCommand struct {
	Years     float64 `default:"20" help:"Tank-years of the quiet classes in all; the creeps are in proportion. 200 for the bars as they are meant."`
	Seed      uint64  `default:"1" help:"Another seed, another set of cellars."`
	Class     string  `help:"One class alone, for all of the years."`
	Barometer bool    `help:"The site has a barometer, and spile hears it."`
	ByHand    bool    `help:"Somebody reads gravity by hand on the mornings up to two days after the hops, and on those on which spile asks for it."`
	Workers   int     `help:"Runs at the same time; by default one for each core. It changes no figure."`
	Index     int     `name:"run" default:"-1" help:"Tell the story of this run of the class: what was drawn, done, logged and called."`
	Calls     bool    `help:"With ndjson: a line for each call and each miss, too."`
	Format    string  `enum:"text,ndjson" default:"text" help:"Text for people, or NDJSON: a line for each class and each measure."`
}

// Run makes the trial and prints what it found.
func (c *trialCommand) Run(ctx context.Context, s *streams) error {
	if c.Calls && c.Format != "ndjson" {
		return usageError{errors.New("--calls: a line for each call comes with --format ndjson")}
	}
	workers := c.Workers
	if workers < 1 {
		workers = runtime.NumCPU()
	}
	began := time.Now()
	o := trial.Options{Years: c.Years, Seed: c.Seed, Class: c.Class, ByHand: c.ByHand, Barometer: c.Barometer, Workers: workers, Telling: told()}
	if c.Index >= 0 {
		return usage(trial.WriteTale(ctx, o, c.Index, s.out))
	}
	report, err := trial.Run(ctx, o)
	if err != nil {
		return usage(err)
	}
	out := bufio.NewWriter(s.out)
	if c.Format == "ndjson" {
		return errors.Join(report.WriteNDJSON(out, c.Calls), out.Flush())
	}
	if err := errors.Join(report.WriteText(out), out.Flush()); err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.err, "\nTook %s with %d at a time.\n", time.Since(began).Round(time.Second), workers)
	return err
}

// usage marks what the caller asked for wrongly.
func usage(err error) error {
	if errors.Is(err, trial.ErrOptions) {
		return usageError{err}
	}
	return err
}

// told is how each alarm of the catalogue is told.
func told() map[detect.Alarm]trial.Telling {
	out := map[detect.Alarm]trial.Telling{}
	for _, d := range alert.Catalogue() {
		out[d.Alarm] = trial.Telling{
			OnDelay: d.OnDelay, OffDelay: d.OffDelay, Priority: d.Priority,
			SuppressedBy: slices.Clone(d.SuppressedBy), Waits: d.Scope == alert.Batch,
		}
	}
	return out
}
