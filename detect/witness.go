package detect

import (
	"slices"
	"time"
)

// A call says what every witness saw. Hours and half hours end for all of them together, so that others than the one that
// brings the call about tell what they knew before its moment: nobody knows whose message was written first.

// floatSeen is a float as the probe that is heard now may see it.
func (t *Tank) floatSeen(name string) *float {
	if f := t.state.Floats[name]; f.Was == nil || name == t.state.Beer.By {
		return f
	}
	return t.state.Floats[name].Was
}

// gaugeSeen is the same of a gauge.
func (t *Tank) gaugeSeen(name string) *gauge {
	if c := t.state.Gauges[name]; c.Was == nil || name == t.state.Beer.By {
		return c
	}
	return t.state.Gauges[name].Was
}

// balanceSeen is the same of a gauge's balance.
func (t *Tank) balanceSeen(name string) *balance {
	if b := t.state.Balances[name]; b.Was == nil || name == t.state.Beer.By {
		return b
	}
	return t.state.Balances[name].Was
}

// seen is the same of the newest pressure or gravity; the time is zero where there is none.
func (t *Tank) seen(q Quantity) Latest {
	was, now := &t.state.Beer, t.state.Last[q]
	switch {
	case now.Probe == was.By:
		return now
	case q == Pressure:
		return was.Pressure
	}
	return was.Gravity
}

// remember keeps a float as it was before an hour of it ends, and tells whether one does. Its points are the float's own, and
// are mostly all that it holds: whoever takes some of them back, or puts them right, does it on a copy.
func (f *float) remember(at time.Time) (kept bool) {
	kept = f.Was == nil && f.Block.endsBy(at, floatWidth)
	if kept {
		was := *f
		f.Was = &was
	}
	return kept
}

// remember keeps a gauge as it was before half an hour of it ends. The points are the gauge's own, as those of a float.
func (c *gauge) remember(at time.Time) (kept bool) {
	kept = c.Was == nil && c.Block.endsBy(at, gaugeWidth)
	if kept {
		was := *c
		was.Lifts = slices.Clone(c.Lifts)
		c.Was = &was
	}
	return kept
}

// remember keeps a balance as it was before a block of it ends.
func (b *balance) remember(at time.Time) (kept bool) {
	kept = b.Was == nil && b.Block.endsBy(at, balanceWidth)
	if kept {
		was := *b
		b.Was = &was
	}
	return kept
}

// endsBy tells whether a reading of this time begins another block.
func (b *block) endsBy(at time.Time, width time.Duration) bool {
	return len(b.Values) > 0 && !at.Truncate(width).Equal(b.Start)
}
