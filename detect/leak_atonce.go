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

// letDown tells whether what a balance has lost went from its gauge at once, a day ago or more, and the pressure has held for
// that day: hands let gas off and did not log it. A leak goes on.
func (c *gauge) letDown(b *balance, headspaceShare float64) bool {
	if b.lost() == 0 || b.At.Sub(b.LostAt) < dayWidth {
		return false
	}
	late, ok := c.day(c.Last.At, dayWidth/2)
	early, well := c.day(late.From, dayWidth/2)
	if !ok || !well || max(early.KPa, early.at(late.Celsius, headspaceShare))-late.KPa >= letDownHolds {
		return false
	}
	room, atOnce := capacity(b.Celsius, headspaceShare), 0.0
	for first, last := range c.someHours(b.LostAt.Add(-suddenly), early.From) {
		colder := first.KPa * capacity(first.Celsius, headspaceShare) / capacity(last.Celsius, headspaceShare)
		atOnce = max(atOnce, min(first.KPa, colder)-last.KPa)
	}
	return atOnce*room >= b.lost()
}

// letDownHolds is how much less, in kPa, the newest half day may show than the one before it, where pressure holds that was
// let down: less than what a balance takes for a loss (common practice).
const letDownHolds = daysHold / 2

// forget takes back what was lost until now.
func (b *balance) forget() { b.Loss, b.LostAt = [lags]float64{}, b.At }
