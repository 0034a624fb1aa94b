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

// line is the sums of a fit, from the newest sample backward: those of a short stretch are the beginning of those of a
// longer one.
type line struct {
	n, sx, sy, sxx, sxy float64
	span                time.Duration
}

// add takes the next older sample, so long before the newest.
func (l *line) add(past time.Duration, y float64) {
	l.span = past
	x := -past.Hours()
	l.n, l.sx, l.sy, l.sxx, l.sxy = l.n+1, l.sx+x, l.sy+y, l.sxx+x*x, l.sxy+x*y
}

// fit is the line through what was added, three samples or more.
func (l *line) fit() (fitted, bool) {
	spread := l.n*l.sxx - l.sx*l.sx
	if l.n < 3 || spread <= 0 {
		return fitted{}, false
	}
	slope := (l.n*l.sxy - l.sx*l.sy) / spread
	return fitted{
		slope: slope, slopeError: math.Sqrt(l.n / spread),
		level: (l.sy - slope*l.sx) / l.n, levelError: math.Sqrt(l.sxx / spread), span: l.span,
	}, true
}

// trailSums are the sums of a line through the newest means of a trail, over ever longer stretches.
type trailSums struct {
	trail []glance
	taken int // of its newest
	line
}

// fit goes on to the means of so long and fits the line.
func (s *trailSums) fit(over time.Duration) (fitted, bool) {
	end := s.trail[len(s.trail)-1].At
	for s.taken < len(s.trail) {
		g := &s.trail[len(s.trail)-1-s.taken]
		past := end.Sub(g.At)
		if past > over {
			break
		}
		s.add(past, g.Value)
		s.taken++
	}
	return s.line.fit()
}
