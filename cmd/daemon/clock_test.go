package daemon

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/ingest"
)

// setClock is a clock on the wall that a test sets, beside the time that passes.
type setClock struct {
	mu     sync.Mutex
	wall   time.Time
	passed time.Duration
}

func (c *setClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.wall
}

func (c *setClock) since() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.passed
}

func (c *setClock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wall, c.passed = c.wall.Add(d), c.passed+d
}

func (c *setClock) set(by time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wall = c.wall.Add(by)
}

// The clock is set ahead by two days, then back by three hours, and then by the one second with which Linux inserts a
// leap second (STA_INS in adjtimex(2)), while a probe speaks every ten minutes of the time that
// passes. Nothing is called for the jumps; what is said keeps its order; and a probe that then really falls silent is
// missed, in the time that silence takes.
func TestAClockThatJumpsCallsNobody(t *testing.T) {
	c := &setClock{wall: time.Date(2026, 3, 28, 20, 0, 0, 0, time.UTC), passed: time.Second}
	var mu sync.Mutex
	var steps []alert.Transition
	d := New(Options{Clock: c.now, Passed: c.since, Told: func(s []alert.Transition) {
		mu.Lock()
		defer mu.Unlock()
		steps = append(steps, s...)
	}})
	require.NoError(t, d.Start(t.Context()))
	defer func() { assert.NoError(t, d.Stop(context.Background())) }()
	told := func() []alert.Transition {
		mu.Lock()
		defer mu.Unlock()
		return append([]alert.Transition(nil), steps...)
	}
	caughtUp := func() {
		t.Helper()
		require.Eventually(t, func() bool { return !d.judge.moment().Before(d.intake.Horizon()) }, 10*time.Second, time.Millisecond)
	}
	said := 0
	speak := func(times int) {
		t.Helper()
		for range times {
			c.pass(10 * time.Minute)
			message := ingest.Message{Topic: "cellar/FV1/hyd-1", Payload: fmt.Appendf(nil, `{"gravity":1.01%02d}`, said%20)}
			require.NoError(t, d.intake.Hear(t.Context(), message))
			said++
			caughtUp()
		}
	}
	speak(12)
	c.set(48 * time.Hour) // nobody speaks at once: the judge alone sees it
	caughtUp()
	speak(12)
	c.set(48 * time.Hour) // a probe speaks before anybody has looked
	speak(12)
	c.set(-3 * time.Hour)
	speak(60)
	c.set(-time.Second)
	speak(6)
	assert.Empty(t, told(), "nothing happened in the cellar")

	entries, err := d.journal.After(t.Context(), 0, 10_000)
	require.NoError(t, err)
	var leaps, readings int
	var last time.Time
	for _, e := range entries {
		require.False(t, e.Arrived.Before(last), "arrivals never go back")
		last = e.Arrived
		switch {
		case e.Reading != nil:
			readings++
		case e.Mark.Name == ingest.MarkLeapt:
			leaps++
		}
	}
	assert.Equal(t, 2, leaps)
	assert.Equal(t, said, readings, "nothing is lost, nothing twice")

	c.pass(90 * time.Minute)
	caughtUp()
	require.Eventually(t, func() bool { return len(told()) == 1 }, 10*time.Second, 10*time.Millisecond)
	assert.Equal(t, "probe-silent", string(told()[0].Alarm))
	faults, err := d.journal.Check(t.Context(), 0)
	require.NoError(t, err)
	assert.Empty(t, faults)
}
