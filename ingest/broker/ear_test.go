package broker

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest"
)

// ear is an intake that a test can hold shut.
type ear struct {
	gate chan error    // each message waits for one answer; nil: all are taken at once
	over chan struct{} // closed with the test

	mu       sync.Mutex
	heard    []ingest.Message
	waits    []time.Duration // that the hook would have waited
	waiting  int
	together int // most that waited at the same time
}

func (e *ear) Hear(ctx context.Context, m ingest.Message) error {
	e.enter(ctx, m)
	defer e.leave()
	if e.gate == nil {
		return nil
	}
	select {
	case err := <-e.gate:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (e *ear) Offer(ctx context.Context, m ingest.Message, done func(error)) error {
	e.enter(ctx, m)
	if e.gate == nil {
		e.leave()
		done(nil)
		return nil
	}
	go func() {
		defer e.leave()
		select {
		case err := <-e.gate:
			done(err)
		case <-e.over:
			done(errors.New("the test is over"))
		}
	}()
	return nil
}

func (e *ear) enter(ctx context.Context, m ingest.Message) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.heard = append(e.heard, m)
	if end, ok := ctx.Deadline(); ok {
		e.waits = append(e.waits, time.Until(end))
	}
	e.waiting++
	e.together = max(e.together, e.waiting)
}

func (e *ear) leave() { e.mu.Lock(); defer e.mu.Unlock(); e.waiting-- }

func (e *ear) messages() []ingest.Message {
	e.mu.Lock()
	defer e.mu.Unlock()
	return append([]ingest.Message(nil), e.heard...)
}

// seen is the longest wait of the first message, and how many waited together.
func (e *ear) seen() (wait time.Duration, together int) {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.waits[0], e.together
}

// waitFor waits until so many messages have been heard.
func (e *ear) waitFor(t *testing.T, n int) {
	t.Helper()
	require.Eventually(t, func() bool { return len(e.messages()) == n }, patient, time.Millisecond)
}

// start runs a broker on a free port for the time of the test.
func start(t testing.TB, o Options) *Broker {
	t.Helper()
	o.Listen = "127.0.0.1:0"
	if e, ok := o.Intake.(*ear); ok && e.over == nil {
		e.over = make(chan struct{})
		t.Cleanup(func() { close(e.over) })
	}
	b, err := New(o)
	require.NoError(t, err)
	require.NoError(t, b.Start(t.Context()))
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patient)
		defer cancel()
		assert.NoError(t, b.Stop(ctx))
	})
	return b
}
