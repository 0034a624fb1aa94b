package ingest

import (
	"time"

	"spile/ingest/journal"
)

// MarkLeapt is the name of the mark that is journalled in front of what comes
// after a leap of the clock; its detail is the moment before.
const MarkLeapt = "clock-leapt"

// leapMost is how far the clock may get ahead of the time that has passed.
// Beyond it, it was set, or the machine slept.
const leapMost = 3 * time.Minute

// arrivals give what is heard its arrival: the time of the clock on the wall, in
// whole milliseconds, as long as that goes its way.
//
// They never go back. Where the clock was set back they go on at half the pace
// of time until it has caught up, so that delays still come to their end. Where
// it leaps ahead, that is noticed, for the stretch is nobody's silence.
type arrivals struct {
	clock  func() time.Time
	passed func() time.Duration // since some moment, whatever the clock is set to; nil: the clock is all there is
	last   time.Time            // newest arrival given
	at     time.Duration        // what had passed then; 0: nothing is known
}

// give moves the last arrival on to t, never back.
func (a *arrivals) give(t time.Time) time.Time {
	if t = t.UTC().Truncate(time.Millisecond); t.After(a.last) {
		if a.passed != nil {
			passed := a.passed()
			if a.at != 0 { // it may have waited since; the clock went its way until then
				passed = min(a.at+t.Sub(a.last), passed)
			}
			a.at = passed
		}
		a.last = t
	}
	return a.last
}

// now gives the arrival of what comes now.
func (a *arrivals) now() time.Time {
	if a.passed == nil {
		return a.give(a.clock())
	}
	passed := a.passed() // before the clock: what goes by in between must not look like a leap
	t := a.clock().UTC().Truncate(time.Millisecond)
	switch gone := passed - a.at; {
	case t.After(a.last):
		a.last, a.at = t, passed
	case a.at == 0:
		a.at = passed
	case gone >= 2*time.Millisecond:
		a.last, a.at = a.last.Add((gone / 2).Truncate(time.Millisecond)), passed
	}
	return a.last
}

// leapt tells whether the clock is ahead of the time that has passed.
func (a *arrivals) leapt() bool {
	if a.passed == nil || a.at == 0 {
		return false
	}
	ahead := a.clock().Sub(a.last) // before what has passed, for the same reason
	return ahead > a.passed()-a.at+leapMost
}

// watchClock puts a mark before what is heard after a leap of the clock.
func (in *Intake) watchClock(b *batch) {
	in.mu.Lock()
	defer in.mu.Unlock()
	if !in.arrivals.leapt() {
		return
	}
	before := in.arrivals.last
	at := in.arrivals.now()
	if !in.busy {
		in.busy, in.since = true, before // the judge must not run ahead of the mark
	}
	in.log.Warn("the clock has leapt; the stretch between counts as nobody's silence", "from", before, "to", at)
	b.entries = append(b.entries, journal.Entry{Arrived: at, Mark: &journal.Mark{
		Name: MarkLeapt, Detail: before.Format(time.RFC3339Nano),
	}})
}

// nudge has the writer look at the clock, if it has nothing else to do.
func (in *Intake) nudge() {
	select {
	case in.queue <- job{entries: []journal.Entry{}, done: func(settled, error) {}}:
	default: // what waits in the queue does as well
	}
}
