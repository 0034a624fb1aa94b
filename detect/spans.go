package detect

import "time"

// lasted is for how long something has been so without a break, up to a moment; since when is kept, zero while it is not so.
func lasted(since *time.Time, so bool, at time.Time) time.Duration {
	switch {
	case !so:
		*since = time.Time{}
		return 0
	case since.IsZero():
		*since = at
	}
	return at.Sub(*since)
}

// Later is the later one of two moments.
func Later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// Earlier is the earlier one.
func Earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// farAhead is as far as anything is reckoned, h: a century. A duration holds less than three of them, and wraps.
const farAhead = 100 * 365.25 * 24

// hours is a figure of hours as a duration.
func hours(h float64) time.Duration {
	return time.Duration(min(max(h, -farAhead), farAhead) * float64(time.Hour))
}
