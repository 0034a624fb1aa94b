package influx

import (
	"context"
	"time"
)

// backoff spaces attempts: each wait is twice the one before, up to the
// longest, and drawn from the upper half of that, so that the daemons of two
// cellars do not return to a store in step.
type backoff struct {
	first, longest time.Duration
	jitter         func() float64 // within 0 and 1
	next           time.Duration
}

// wait gives the time until the next attempt, at least as long as asked for,
// where that is no longer than the longest.
func (b *backoff) wait(asked time.Duration) time.Duration {
	b.next = min(max(2*b.next, b.first), b.longest)
	drawn := b.next/2 + time.Duration(b.jitter()*float64(b.next/2))
	return max(drawn, min(asked, b.longest))
}

// reset starts over, after a success.
func (b *backoff) reset() { b.next = 0 }

// sleep waits, and tells whether the context let it.
func sleep(ctx context.Context, d time.Duration) bool {
	if ctx.Err() != nil {
		return false
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}
