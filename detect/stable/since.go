package stable

import (
	"math"
	"time"
)

// sinceBlock is how much of a curve is averaged before it is held to have been elsewhere.
const sinceBlock = 6 * time.Hour

// Since walks back from a moment and gives the time from which the curve has stayed within half a limit of where it is now:
// since when it has stood, once Judge has shown that it stands. Zero: no curve.
func Since(curve []Point, at time.Time, limit float64) time.Time {
	points := between(curve, time.Time{}, at)
	if len(points) == 0 {
		return time.Time{}
	}
	newest := points[len(points)-1].At
	level, _ := mean(between(points, newest.Add(-4*sinceBlock), newest))
	since := newest
	for end := newest; ; end = end.Add(-sinceBlock) {
		block := between(points, end.Add(-sinceBlock), end)
		if len(block) == 0 {
			if end.Before(points[0].At) {
				return since
			}
			continue // a gap in the curve tells nothing
		}
		value, deviation := mean(block)
		if math.Abs(value-level) > limit/2+2*deviation {
			return since
		}
		since = block[0].At
	}
}

// mean is that of some points, and its standard error as if they were independent.
func mean(points []Point) (value, deviation float64) {
	for _, p := range points {
		value += p.Value
	}
	value /= float64(len(points))
	if len(points) < 2 {
		return value, 0
	}
	for _, p := range points {
		deviation += (p.Value - value) * (p.Value - value)
	}
	n := float64(len(points))
	return value, math.Sqrt(deviation / (n - 1) / n)
}
