package detect

import "time"

// Beer that comes from another tank warms this one within minutes, and the jacket takes it back: that is no climb. While it
// comes nothing is foretold, and then the heading begins anew; the limit itself counts as ever.

// Receive hears of a transfer that another tank's log sends here. It is over when it may take no longer, or when a line of
// this tank's own log shuts the tank.
func (t *Tank) Receive(e Event) {
	d := &t.state.Drift
	d.MixedUntil = Later(d.MixedUntil, e.Time.Add(transferTime))
}

// shutAt ends what comes in.
func (d *drift) shutAt(at time.Time) {
	if at.Before(d.MixedUntil) && at.After(d.MixedUntil.Add(-transferTime)) {
		d.MixedUntil = at
	}
}

// mixes tells whether beer comes in yet. Once it does not, the trail of before is no way to where the beer goes.
func (d *drift) mixes(now time.Time) bool {
	if now.Before(d.MixedUntil) {
		return true
	}
	d.Ahead.beginAnew(d.MixedUntil)
	return false
}

// beginAnew leaves of the trail what is from a time on, and its newest mean. The tops stay known.
func (h *heading) beginAnew(from time.Time) {
	last := len(h.Trail) - 1
	if last < 0 || !h.Trail[0].At.Before(from) {
		return
	}
	for len(h.Trail) > 1 && h.Trail[0].At.Before(from) {
		h.Trail = h.Trail[1:]
	}
	h.Newest, h.Passed = saw{}, false
	h.look()
}
