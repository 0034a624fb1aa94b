package page

import (
	"context"
	"sync"
	"time"

	"spile/detect/batch"
)

// holdsLife is how long a tank's hold points are shown before they are judged anew: they move in hours, and a page that
// stays fresh asks every second.
const holdsLife = time.Minute

// holdCache keeps what was judged of a batch a moment ago. It is safe for concurrent use.
type holdCache struct {
	report func(ctx context.Context, tank string) (batch.Report, error)
	clock  func() time.Time

	mu   sync.Mutex // guards what follows
	kept map[string]judged
}

// judged is a batch and when it was asked for.
type judged struct {
	batch batch.Batch
	at    time.Time
	lines int // of the log: a new one is judged at once
}

// get gives the batch in a tank; false where nobody keeps batches.
func (c *holdCache) get(ctx context.Context, tank string, lines int) (batch.Batch, bool, error) {
	if c.report == nil {
		return batch.Batch{}, false, nil
	}
	now := c.clock()
	c.mu.Lock()
	k, known := c.kept[tank]
	c.mu.Unlock()
	if known && k.lines == lines && now.Sub(k.at).Abs() < holdsLife {
		return k.batch, true, nil
	}
	rep, err := c.report(ctx, tank)
	if err != nil {
		return batch.Batch{}, false, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept == nil {
		c.kept = map[string]judged{}
	}
	c.kept[tank] = judged{batch: rep.Batch, at: now, lines: lines}
	return rep.Batch, true, nil
}

// holding is what the tank's page shows of its batch; nil where nothing is known of one.
func (s *Server) holding(ctx context.Context, tank string, lines int) *batch.Batch {
	b, kept, err := s.held.get(ctx, tank, lines)
	if err != nil && ctx.Err() == nil {
		s.Log.Error("hold points are not known", "tank", tank, "error", err) // the page is worth more than they are
	}
	if err != nil || !kept {
		return nil
	}
	return &b
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
