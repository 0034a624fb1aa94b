package detect

import (
	"iter"
	"time"
)

// fellAtOnce is the most, in kPa, by which a gauge went down within some hours between two moments.
func (c *gauge) fellAtOnce(since, until time.Time) (most float64) {
	for first, last := range c.someHours(since, until) {
		most = max(most, first.KPa-last.KPa)
	}
	return most
}

// someHours are the points between two moments, each with the earliest of the hours before it.
func (c *gauge) someHours(since, until time.Time) iter.Seq2[headPoint, headPoint] {
	return func(yield func(first, last headPoint) bool) {
		first := 0
		for _, p := range c.Points {
			if p.At.Before(since) {
				first++
				continue
			}
			for p.At.Sub(c.Points[first].At) > suddenly {
				first++
			}
			if p.At.After(until) || !yield(c.Points[first], p) {
				return
			}
		}
	}
}
