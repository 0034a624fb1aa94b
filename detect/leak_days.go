package detect

import "time"

// headDay is the mean of a day, or of half a one, of a closed tank's gauge. A thermometer's lag, the sun, and the lag
// between beer and head space come to little in it.
type headDay struct {
	From    time.Time
	KPa     float64 // absolute
	Celsius float64 // of the beer
	AtOnce  float64 // kPa, the most that went within some hours in it, or in days before it that were not heard; of a whole day
}

// at is what its pressure would have been at another temperature.
func (d headDay) at(celsius, headspaceShare float64) float64 {
	return d.KPa * capacity(d.Celsius, headspaceShare) / capacity(celsius, headspaceShare)
}

// headDays are the days for which a tank has stood closed.
type headDays struct {
	From   time.Time // when the day that is yet to be whole begins
	Whole  []headDay
	AtOnce float64 // kPa, of the days since that were not heard
}

// daysLoss is what a gauge has lost since an earlier day.
type daysLoss struct {
	KPa   float64   // at like temperature
	Since time.Time // the end of that day
}

// When days tell of a leak for which the beer makes up, so that it is slower than the weather of some hours and than what
// a balance allows for (common practice).
const (
	dayWidth   = 24 * time.Hour
	dayHeard   = 0.5            // of its half hours that a day must have
	daysRest   = 24 * time.Hour // after an act, in which gas comes to rest
	daysKept   = 14             // of them: a gauge's own drift is a matter of weeks
	daysApart  = 2 * dayWidth   // between the beginnings of two that are held against one another: at least a day lies between, ...
	daysGoOn   = 0.25           // ... and the newest day has this share of the pace since then, and its newest half of the day's: what comes to rest does not go on
	daysSudden = 0.5            // of it, that went within ...
	suddenly   = 6 * time.Hour  // ... such a time: beer was drawn, or gas let off
	daysTurned = 2.0            // K, by which the beer has moved at most
	daysPerK   = 1.0            // kPa that a thermometer that is not the whole tank, and a head space that nobody measured, may be off by
	daysFell   = 0.5            // of it, by which the pressure itself went down: where it stands while beer warms, a valve holds it
	daysLost   = 8.0            // kPa: four deviations between two days of rough weather (1.5 kPa), for a gauge that is closed to it
	daysHold   = 1.0            // kPa in two days, less than which the pressure holds again
)

// keepDays takes in a day that has become whole. What was before a moment at which the tank may have let gas go is forgotten.
func (c *gauge) keepDays(at time.Time, closed bool) {
	d := &c.Days
	if !closed {
		*d = headDays{From: at}
		return
	}
	d.From = Later(d.From, c.Since.Add(daysRest))
	until := d.From.Add(dayWidth)
	if at.Before(until) {
		return
	}
	d.AtOnce = max(d.AtOnce, c.fellAtOnce(d.From.Add(-suddenly), until))
	if day, ok := c.day(until, dayWidth); ok {
		day.AtOnce, d.AtOnce = d.AtOnce, 0
		d.Whole = append(d.Whole, day)
		d.Whole = d.Whole[max(0, len(d.Whole)-daysKept):]
	}
	d.From = until
}

// day is the mean of the day, or half of one, that ends at a moment, and whether it was heard.
func (c *gauge) day(until time.Time, width time.Duration) (headDay, bool) {
	day, heard := c.mean(until, width)
	if heard < dayHeard {
		return headDay{}, false
	}
	return day, true
}

// mean is the same of any stretch, and the share of its half hours that was heard.
func (c *gauge) mean(until time.Time, width time.Duration) (out headDay, heard float64) {
	out.From = until.Add(-width)
	n := 0.0
	for i := len(c.Points) - 1; i >= 0; i-- {
		p := &c.Points[i]
		if !p.At.After(out.From) {
			break
		}
		if !p.At.After(until) {
			out.KPa, out.Celsius, n = out.KPa+p.KPa, out.Celsius+p.Celsius, n+1
		}
	}
	if n == 0 {
		return out, 0
	}
	out.KPa, out.Celsius = out.KPa/n, out.Celsius/n
	return out, n / float64(width/gaugeWidth)
}

// lost is what the pressure of the newest day lies under that of an earlier one, the most of all that can be told and that
// comes to so many kPa at least.
func (c *gauge) lost(least, headspaceShare float64) (most daysLoss) {
	now, heard := c.day(c.Last.At, dayWidth)
	if !heard {
		return daysLoss{}
	}
	coldest, warmest := now.Celsius, now.Celsius
	atOnce := c.Days.AtOnce
	for i := len(c.Days.Whole) - 1; i >= 0; i-- {
		then := c.Days.Whole[i]
		coldest, warmest = min(coldest, then.Celsius), max(warmest, then.Celsius)
		if warmest-coldest > daysTurned {
			break
		}
		past := now.From.Sub(then.From)
		kPa := then.at(now.Celsius, headspaceShare) - now.KPa - daysPerK*(warmest-coldest)
		if fell := then.KPa-now.KPa >= daysFell*kPa; past >= daysApart && fell && kPa >= least && kPa > most.KPa && c.goesOnFor(now, kPa, past, headspaceShare) {
			ends := then.From.Add(dayWidth)
			sudden := c.fellAtOnce(ends, c.Last.At)
			if c.Points[0].At.After(ends) { // they reach back some days only
				sudden = max(sudden, atOnce)
			}
			if sudden <= daysSudden*kPa {
				most = daysLoss{KPa: kPa, Since: ends}
			}
		}
		atOnce = max(atOnce, then.AtOnce)
	}
	return most
}

// goesOnFor tells whether the newest day has its share of what was lost in a time, and its newest half of the day's.
func (c *gauge) goesOnFor(now headDay, kPa float64, past time.Duration, headspaceShare float64) bool {
	before, beforeHeard := c.day(now.From, dayWidth)
	late, lateHeard := c.day(c.Last.At, dayWidth/2)
	early, earlyHeard := c.day(late.From, dayWidth/2)
	if !beforeHeard || !lateHeard || !earlyHeard {
		return false
	}
	inDay, inHalf := before.at(now.Celsius, headspaceShare)-now.KPa, early.at(late.Celsius, headspaceShare)-late.KPa
	return inDay >= daysGoOn*kPa*dayWidth.Hours()/past.Hours() && inHalf >= daysGoOn*inDay
}

// stays tells whether the pressure has held for two days, by their means. It does not know where it was not heard.
func (c *gauge) stays(headspaceShare float64) (stays, known bool) {
	now, ok := c.day(c.Last.At, dayWidth)
	then, well := c.day(now.From.Add(dayWidth-daysApart), dayWidth)
	if !ok || !well {
		return false, false
	}
	return then.at(now.Celsius, headspaceShare)-now.KPa < daysHold, true
}

// fades is what a gauge has lost over days, where it is enough to tell of a leak.
func (t *Tank) fades(probe string) daysLoss {
	c := t.state.Gauges[probe]
	if c == nil || len(c.Days.Whole) == 0 {
		return daysLoss{}
	}
	return c.lost(daysLost, t.headspaceShare())
}

// holdsAgain tells whether a leak is over. One that days have told is slower than what the balance takes for rest, until
// hands have moved the gas.
func (t *Tank) holdsAgain(c *gauge, b *balance, rate Interval) bool {
	h, rests := &t.state.Head, rate.Value >= -leakOver
	if h.Slow && c != nil {
		if stays, known := c.stays(t.headspaceShare()); known {
			rests = stays
		}
	}
	return h.holds(b.At, rests)
}

// daysAnew lets the days begin anew at a moment: what was lost before is told.
func (t *Tank) daysAnew(at time.Time) {
	for _, c := range t.state.Gauges {
		c.Days, c.Steady = headDays{From: at}, lastDay{}
	}
}
