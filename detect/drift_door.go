package detect

import (
	"math"
	"time"
)

// A door that stands open warms the thermometer in its well, and soon; the beer takes hours. While it is open nobody is
// called for it, and once it is shut it has never been.

// What a door looks like (common practice).
const (
	warmestCellar = 30.0 // degC ...
	barestTank    = 30.0 // h, its lag, of 20 hL: a tank warms no faster than these two make it, but for ...
	barestLiters  = 2000.0
	leapt         = 0.2              // ... K more ...
	leaptSigmas   = 3.0              // ... and the noise of a mean ...
	leaptWithin   = 70 * time.Minute // ... in this time ...
	leaptSoon     = 30 * time.Minute // ... or in this
	bareShare     = 0.5              // of the fastest, that tanks come to whose cooling fails: what goes faster by ...
	steppedBy     = 0.1              // ... K more from one mean to another, and its noise, may be a door: nothing is foretold of it
	stepWithin    = 50 * time.Minute
	straightBy    = 0.08              // K off a line, which a thermometer's noise is and a door's curve is not
	straightFor   = 45 * time.Minute  // of the hour over which a line is looked for
	bareTwice     = 2.0               // times the fastest: little beer, in an open shell
	doorMost      = 2.0               // K past the limit, further than a door brings a thermometer in a well
	doorShut      = 75 * time.Minute  // by when a door is shut, and a thermometer in its well says so
	doorFaded     = 130 * time.Minute // from before it was opened until nothing of it is left, of a thermometer that speaks each hour, too
	doorLeft      = 0.1               // K, and noise, that is nothing
)

// barestLag is the lag with which a tank as large as this takes up the warmth of its cellar if nothing insulates it, h:
// surface goes with the square of the width, beer with its cube. A large one is not trusted to be so slow.
func (t *Tank) barestLag() float64 {
	if t.settings.BeerLiters == 0 {
		return barestTank
	}
	return barestTank * min(1, math.Cbrt(t.settings.BeerLiters/barestLiters))
}

// fastest is how fast a cellar warms beer with such a lag at most, K/h.
func fastest(celsius, lag float64) float64 { return max(0, warmestCellar-celsius) / lag }

// door tells whether the level rose faster than a cellar warms beer with such a lag, now or within the last hour and a
// quarter: warm air comes to a thermometer sooner than to the beer. What is not over in the time that a door stands open is
// none, but something that heats.
func (d *drift) door(level, lag float64, now time.Time) bool {
	most, leaps := fastest(level, lag), false
	for i := len(d.Ahead.Trail) - 1; i >= 0 && now.Sub(d.Ahead.Trail[i].At) <= leaptWithin; i-- {
		past := leaptWithin
		if now.Sub(d.Ahead.Trail[i].At) <= leaptSoon {
			past = leaptSoon
		}
		leaps = leaps || level-d.Ahead.Trail[i].Value > most*past.Hours()+leapt+leaptSigmas*d.Ahead.Noise
	}
	if leaps && now.Sub(d.LeaptAt) > leaptWithin+doorShut {
		d.LeaptAt = now
	}
	return d.leaptLately(now)
}

// leaptLately tells whether that was so short a time ago that a door may have been it. What goes up straight is none.
func (d *drift) leaptLately(now time.Time) bool {
	return now.Sub(d.LeaptAt) < doorShut && !d.goesStraight(now)
}

// noteStep keeps since when the newest mean stands higher over one before it than a cellar warms beer meanwhile. What goes
// on stepping is no door, but something that heats.
func (d *drift) noteStep(lag float64) {
	trail := d.Ahead.Trail
	newest := trail[len(trail)-1]
	most, before := fastest(newest.Value, lag), d.Steps
	d.Steps, d.Straight = false, d.Ahead.straight(bareTwice*most)
	for i := len(trail) - 2; i >= 0 && newest.At.Sub(trail[i].At) <= stepWithin; i-- {
		usual := bareShare*most*newest.At.Sub(trail[i].At).Hours() + steppedBy + leaptSigmas*math.Sqrt2*d.Ahead.Noise
		d.Steps = d.Steps || newest.Value-trail[i].Value > usual
	}
	if d.Steps && !before {
		d.SteppedAt = newest.At
	}
}

// steppedLately tells whether a step was so short a time ago that a door may be open yet. What goes up straight is none.
func (d *drift) steppedLately(now time.Time) bool {
	return now.Sub(d.SteppedAt) < doorShut && !d.goesStraight(now)
}

// goesStraight tells whether beer has gone up for an hour along a line, and is on it yet: a door makes a step.
func (d *drift) goesStraight(now time.Time) bool {
	if !d.Straight || len(d.Ahead.Trail) == 0 {
		return false
	}
	l, newest := d.Ahead.steady(time.Hour), d.Ahead.Trail[len(d.Ahead.Trail)-1]
	return d.Level < l.level+l.slope*now.Sub(newest.At).Hours()+straightBy
}

// straight tells whether the means of the last hour went up along a line, no steeper than that.
func (h *heading) straight(steepest float64) bool {
	l := h.steady(time.Hour)
	if l.span < straightFor || l.slope > steepest {
		return false
	}
	newest := h.Trail[len(h.Trail)-1].At
	for i := len(h.Trail) - 1; i >= 0 && newest.Sub(h.Trail[i].At) <= time.Hour; i-- {
		if math.Abs(h.Trail[i].Value-l.level+l.slope*newest.Sub(h.Trail[i].At).Hours()) > straightBy {
			return false
		}
	}
	return true
}

// shutDoor is a door that was open: where the beer stood before it and after.
type shutDoor struct{ Before, After sample }

// at is where the beer stood at a moment, as near to the door's as it can be, degC.
func (d shutDoor) at(moment time.Time) float64 {
	share := min(max(0, moment.Sub(d.Before.At).Hours()/d.After.At.Sub(d.Before.At).Hours()), 1)
	return d.Before.Value + share*(d.After.Value-d.Before.Value)
}

// shut finds a door that was open until now: the newest mean stands where the beer stood before.
func (h *heading) shut(lag float64) (shutDoor, bool) {
	last := len(h.Trail) - 1
	newest, peak := h.Trail[last], last
	for i := last - 1; i > 0 && newest.At.Sub(h.Trail[i].At) <= doorFaded; i-- {
		if h.Trail[i].Value > h.Trail[peak].Value {
			peak = i
		}
	}
	most := fastest(h.Trail[peak].Value, lag)
	steeper := func(from, to int, by float64) bool {
		between := h.Trail[to].At.Sub(h.Trail[from].At)
		return h.Trail[to].Value-h.Trail[from].Value > most*between.Hours()+by
	}
	nothing, opened := doorLeft+h.Noise, peak // the newest mean of before: over the top, and down its steep side
	for opened > 0 && (h.Trail[opened].Value > h.Trail[peak].Value-leapt || steeper(opened-1, opened, h.Noise)) {
		opened--
	}
	before := h.Trail[opened]
	if newest.At.Sub(before.At) > doorFaded || steeper(opened, last, nothing) || !steeper(opened, peak, leapt+leaptSigmas*h.Noise) {
		return shutDoor{}, false
	}
	if h.Trail[peak].Value-newest.Value < leapt {
		return shutDoor{}, false // it stays
	}
	if previous := h.Trail[last-1]; previous.Value-newest.Value > nothing && newest.At.Sub(previous.At) < headingSeldom {
		return shutDoor{}, false // it goes down yet
	}
	return shutDoor{Before: before.sample, After: newest.sample}, true
}

// settleDoor gives trail and gauges back what the beer was while a door stood open, once the moment is over in which it was
// known to be shut: among the tops, and in the half hours, what it showed would count for days. What comes next is another door.
func (t *Tank) settleDoor() {
	d := &t.state.Drift
	for _, door := range d.Shut {
		d.Ahead.forgetDoor(door)
		d.Ahead.forgetBacks(door.Before.At)
		for _, c := range t.state.Gauges {
			c.forgetDoor(door)
		}
		d.LeaptAt, d.SteppedAt = time.Time{}, time.Time{}
	}
	d.Shut = nil
}

// forgetDoor gives the trail back what the beer was.
func (h *heading) forgetDoor(door shutDoor) {
	for i, g := range h.Trail {
		if value := door.at(g.At); g.At.After(door.Before.At) && g.At.Before(door.After.At) {
			h.Trail[i].Value, h.Trail[i].Ends = value, [looks]float64{value, value, value, value}
		}
	}
	h.look()
}
