package detect

import (
	"math"
	"time"
)

// fitted is a straight line through samples by least squares, at the newest.
// Its errors are for samples whose noise is one.
type fitted struct {
	slope, slopeError float64 // an hour
	level, levelError float64
	span              time.Duration
}

// timed is a value at a time, and perhaps more.
type timed interface{ at() (time.Time, float64) }

func (s sample) at() (time.Time, float64) { return s.At, s.Value }

// fitLine fits the samples since a time, three or more.
func fitLine[S timed](trail []S, since time.Time) (fitted, bool) {
	var n, sx, sy, sxx, sxy float64
	var span time.Duration
	end, _ := trail[len(trail)-1].at()
	over := end.Sub(since)
	for i := len(trail) - 1; i >= 0; i-- {
		when, y := trail[i].at()
		past := end.Sub(when)
		if past > over {
			break
		}
		span = past
		x := -span.Hours()
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	spread := n*sxx - sx*sx
	if n < 3 || spread <= 0 {
		return fitted{}, false
	}
	slope := (n*sxy - sx*sy) / spread
	return fitted{
		slope: slope, slopeError: math.Sqrt(n / spread),
		level: (sy - slope*sx) / n, levelError: math.Sqrt(sxx / spread), span: span,
	}, true
}
