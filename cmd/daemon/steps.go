package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"
)

// stopWithin bounds the whole teardown.
const stopWithin = 15 * time.Second

// step is a part that was started, and how it ends.
type step struct {
	name string
	stop func(context.Context) error
}

// stack holds the started parts, the last on top.
type stack struct {
	steps []step
	log   *slog.Logger
}

func (s *stack) push(name string, stop func(context.Context) error) {
	s.steps = append(s.steps, step{name, stop})
}

// unwind stops every part in reverse order under one deadline. A part that
// fails does not keep the others from being stopped.
func (s *stack) unwind(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, stopWithin)
	defer cancel()
	var all error
	for len(s.steps) > 0 {
		top := s.steps[len(s.steps)-1]
		s.steps = s.steps[:len(s.steps)-1]
		began := time.Now()
		err := top.stop(ctx)
		s.log.Debug("stopped", "part", top.name, "took", time.Since(began).Round(time.Millisecond), "error", err)
		if err != nil {
			all = errors.Join(all, fmt.Errorf("stop %s: %w", top.name, err))
		}
	}
	return all
}

// aside runs something beside the others until the daemon stops.
func (d *Daemon) aside(ctx context.Context, name string, run func(context.Context)) {
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		run(ctx)
	}()
	d.stack.push(name, func(context.Context) error {
		cancel()
		<-ended
		return nil
	})
}

// each does something beside the others, again and again at a pace, until the daemon stops.
func (d *Daemon) each(ctx context.Context, name string, pace time.Duration, do func(context.Context)) {
	d.aside(ctx, name, func(ctx context.Context) {
		ticks := time.NewTicker(pace)
		defer ticks.Stop()
		for {
			select {
			case <-ticks.C:
				do(ctx)
			case <-ctx.Done():
				return
			}
		}
	})
}
