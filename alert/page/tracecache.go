package page

import (
	"context"
	"slices"
	"sync"
	"time"

	"spile/detect"
)

// What is kept of traces that were read: a long batch takes a while to fold, and the next look at it asks for the same
// and a little more.
const (
	tracesKept = 128            // three stretches of forty tanks, some 10 MB
	traceLate  = 3 * time.Hour  // of the end is read again, for what comes late
	traceLife  = 24 * time.Hour // then all of it, for a backlog that came later still
)

// traceCache keeps folded curves for a while. It is safe for concurrent use.
type traceCache struct {
	records Records
	clock   func() time.Time

	mu   sync.Mutex // guards what follows
	kept []*keptTraces
}

// keptTraces are the curves of one tank, from a step on.
type keptTraces struct {
	tank   string
	step   time.Duration
	from   time.Time // of the first step
	until  time.Time // the last step that begins before it may grow still
	made   time.Time
	traces []detect.Trace
}

// get gives a tank's curves over a window.
func (c *traceCache) get(ctx context.Context, tank string, s window) ([]detect.Trace, error) {
	from, now := s.From.Truncate(s.Step), c.clock()
	old := c.find(tank, s.Step, from, now)
	filter := Filter{Tank: tank, From: from, To: s.To}
	if old != nil && !s.To.Before(old.until) {
		filter.From = old.until
	} else {
		old = nil
	}
	fresh, err := c.records.Traces(ctx, filter, s.Step)
	if err != nil {
		return nil, err
	}
	kept := &keptTraces{tank: tank, step: s.Step, from: from, until: s.To.Add(-traceLate).Truncate(s.Step), made: now, traces: fresh}
	if old != nil {
		kept.made, kept.traces = old.made, joined(old, fresh)
	}
	c.keep(kept)
	return since(kept.traces, s.From), nil
}

// find gives what is kept from a step on or from an earlier one, unless it is old.
func (c *traceCache) find(tank string, step time.Duration, from, now time.Time) *keptTraces {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, k := range c.kept {
		if k.tank == tank && k.step == step && !k.from.After(from) && now.Sub(k.made).Abs() < traceLife {
			return k
		}
	}
	return nil
}

// keep puts the newest first and lets the oldest go.
func (c *traceCache) keep(k *keptTraces) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.kept = slices.DeleteFunc(c.kept, func(old *keptTraces) bool { return old.tank == k.tank && old.step == k.step })
	c.kept = slices.Insert(c.kept, 0, k)
	c.kept = c.kept[:min(len(c.kept), tracesKept)]
}

// joined puts fresh steps in the place of those that could still grow. What is kept is shared, so it is copied.
func joined(old *keptTraces, fresh []detect.Trace) []detect.Trace {
	out := make([]detect.Trace, 0, len(old.traces)+1)
	for _, t := range old.traces {
		t.Steps = slices.DeleteFunc(slices.Clone(t.Steps), func(s detect.TraceStep) bool { return !s.Time.Before(old.until) })
		out = append(out, t)
	}
	for _, f := range fresh {
		i := slices.IndexFunc(out, func(t detect.Trace) bool { return t.Probe == f.Probe && t.Quantity == f.Quantity })
		if i < 0 {
			out = append(out, f)
			continue
		}
		out[i].Steps = append(out[i].Steps, f.Steps...)
	}
	return out
}

// since leaves out what lies before a moment.
func since(traces []detect.Trace, from time.Time) []detect.Trace {
	var out []detect.Trace
	for _, t := range traces {
		first := slices.IndexFunc(t.Steps, func(s detect.TraceStep) bool { return !s.Time.Before(from) })
		if first >= 0 {
			t.Steps = t.Steps[first:]
			out = append(out, t)
		}
	}
	return out
}
