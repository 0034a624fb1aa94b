package page

import (
	"context"
	"fmt"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"

	"spile/detect/batch"
)

const (
	// holdsLife is how long a tank's hold points are shown before they are judged anew: they move in hours, and a page
	// that stays fresh asks every second.
	holdsLife = time.Minute
	// holdsPatience is how long a page waits for them. What was read of a month must be read again after a restart; the
	// page says so meanwhile, and shows what it has.
	holdsPatience = 50 * time.Millisecond
	holdsStale    = 10 * time.Minute // then they are shown no more, until they are judged anew
	holdsWithin   = 30 * time.Second // or they are given up, until somebody looks again
)

// holdCache keeps what was judged of a batch a moment ago. It is safe for concurrent use.
type holdCache struct {
	report   func(ctx context.Context, tank string) (batch.Report, error)
	clock    func() time.Time
	patience time.Duration
	ended    <-chan struct{} // closed when the server shuts down
	fault    func(tank string, err error)

	asked singleflight.Group // one judging for all who look at a tank
	mu    sync.Mutex         // guards what follows
	kept  map[string]judged
}

// judged is a batch and when it was asked for.
type judged struct {
	batch batch.Batch
	at    time.Time
	lines int // of the log: a new one is judged at once
}

// holds are a tank's hold points as its page shows them.
type holds struct {
	Batch   *batch.Batch // nil: nothing is known of one
	Pending bool         // it is being read
}

// get gives the batch in a tank, or tells that it is not judged yet.
func (c *holdCache) get(ctx context.Context, tank string, lines int) holds {
	if c.report == nil {
		return holds{}
	}
	c.mu.Lock()
	k, known := c.kept[tank]
	c.mu.Unlock()
	age := c.clock().Sub(k.at).Abs()
	known = known && k.lines == lines
	if known && age < holdsLife {
		return holds{Batch: &k.batch}
	}
	answer := c.asked.DoChan(fmt.Sprint(tank, " ", lines), func() (any, error) { return c.judge(tank, lines) })
	wait := time.NewTimer(c.patience)
	defer wait.Stop()
	select {
	case a := <-answer:
		if b, judged := a.Val.(batch.Batch); judged && a.Err == nil {
			return holds{Batch: &b}
		}
		return holds{} // the page is worth more than they are
	case <-wait.C:
	case <-ctx.Done():
	}
	if known && age < holdsStale { // a little old: they move in hours
		return holds{Batch: &k.batch}
	}
	return holds{Pending: true}
}

// judge asks for the batch in a tank and keeps it, whether the page that asked still waits or not.
func (c *holdCache) judge(tank string, lines int) (batch.Batch, error) {
	ctx, cancel := beside(c.ended, holdsWithin)
	defer cancel()
	now := c.clock()
	rep, err := c.report(ctx, tank)
	if err != nil {
		if ctx.Err() == nil {
			c.fault(tank, err)
		}
		return batch.Batch{}, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept == nil {
		c.kept = map[string]judged{}
	}
	c.kept[tank] = judged{batch: rep.Batch, at: now, lines: lines}
	return rep.Batch, nil
}

// verdict is a hold point's answer for people: what was read, and no permission.
func verdict(v batch.Verdict) string {
	switch v {
	case batch.Yes:
		return "every condition is met"
	case batch.No:
		return "not yet"
	case batch.Unknown:
	}
	return "cannot be told yet"
}

// fulfilled says how a condition stands.
func fulfilled(c batch.Condition) string {
	switch c.State() {
	case batch.Yes:
		return "✓ Met"
	case batch.No:
		return "✗ Not met"
	case batch.Unknown:
	}
	return "? Not known"
}
