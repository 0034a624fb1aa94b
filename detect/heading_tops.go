package detect

import (
	"math"
	"time"
)

// The tops that a climb is held against: how they are learned of beer that is held, and what they say.

// learn takes the trail's oldest mean for one of beer that has been held since a time: what the beer
// does now may be the climb that is looked for, and must not make its own tops.
func (h *heading) learn(since time.Time) {
	at := h.Trail[len(h.Trail)-1].At.Add(-headingLag)
	i := len(h.Trail) - 1
	for i > 0 && h.Trail[i].At.After(at) {
		i--
	}
	g := h.Trail[i]
	if g.At.After(at) || !g.At.After(h.Learned) || g.At.Before(since) {
		return
	}
	if h.Since.IsZero() {
		if h.cameDown(i) {
			return
		}
		h.Since, h.Held, h.Turning, h.Falls = g.At, g.Value, g.Value, true
	}
	h.Spoke += min(g.At.Sub(Later(h.Learned, h.Since)), headingGap)
	h.Learned = g.At
	level := mean(h.Trail[:i+1])
	if h.Turns >= turnsKnown && level > h.top(0)+lookPast()[0] {
		return // no thermostat turned it there
	}
	if h.Turns < turnsKnown || level < h.top(0)+leastPast {
		h.Held += (1 - math.Exp(-headingWidth.Hours()/headingMean)) * (g.Value - h.Held)
	}
	fell := h.Falls
	h.Rise.lift(g.Ends)
	turned := h.turn(level)
	if turned && h.Turns == 1 { // the first of its own: what was before was the beer's way down to it
		h.Tops = nil
	}
	if turned || h.Turns < turnsKnown {
		h.keep(tops{At: g.At.Truncate(headingStretch), Ends: h.Rise.Ends})
	}
	if turned || fell && !h.Falls {
		h.Rise = tops{Ends: g.Ends}
	}
}

// cameDown tells whether beer was on its way down at a mean of the trail: hours later it has not come back up to it.
// Where cooling came from is no top.
func (h *heading) cameDown(i int) bool {
	highest := math.Inf(-1)
	for _, later := range h.Trail[i+1:] {
		if later.At.Sub(h.Trail[i].At) >= headingLag/2 {
			highest = max(highest, later.Value)
		}
	}
	return h.Trail[i].Value > highest+max(backUp, 2*h.Noise)
}

// keep takes a top in. Once the thermostat is known it is one that was turned: a
// climb that goes on for days is no top, however slow it is.
func (h *heading) keep(top tops) {
	if last := len(h.Tops) - 1; last >= 0 && h.Tops[last].At.Equal(top.At) {
		h.Tops[last].lift(top.Ends)
		return
	}
	h.Tops = append(h.Tops, top)
	// A thermometer that spoke for the beer for some hours, and days later again, knows it by few.
	for len(h.Tops) > turnsKnown && top.At.Sub(h.Tops[0].At) > headingTops {
		h.Tops = h.Tops[1:]
	}
}

// lift raises the tops to some ends.
func (t *tops) lift(ends [looks]float64) {
	for k := range ends {
		t.Ends[k] = max(t.Ends[k], ends[k])
	}
}

// turn counts the tops, and tells of a new one: the beer went up, and its thermostat turned it.
func (h *heading) turn(level float64) bool {
	top := h.Turning
	if !h.follows(level, h.turnsBy()) {
		return false
	}
	h.Turned = top
	h.Turns++
	return true
}

// turnsBy is how far beer must have gone the other way to have turned, K.
func (h *heading) turnsBy() float64 { return max(turnLeast, 2*h.Noise) }

// saw is where beer stands in the sawtooth that its thermostat makes.
type saw struct {
	Turning float64 // degC, the highest or lowest since the thermostat last turned it
	Falls   bool    // it goes down since
}

// follows takes a level in, and tells whether it is the first below a top.
func (s *saw) follows(level, least float64) bool {
	switch {
	case s.Falls && level > s.Turning+least:
		s.Falls, s.Turning = false, level
	case !s.Falls && level < s.Turning-least:
		s.Falls, s.Turning = true, level
		return true
	case s.Falls:
		s.Turning = min(s.Turning, level)
	default:
		s.Turning = max(s.Turning, level)
	}
	return false
}

// known tells whether the beer was held for long enough to know its tops.
func (h *heading) known() bool {
	return !h.Since.IsZero() && h.Spoke >= headingHistory
}

// top is the highest end of the lines of one look while the beer was held.
func (h *heading) top(k int) float64 {
	highest := math.Inf(-1)
	for _, t := range h.Tops {
		highest = max(highest, t.Ends[k])
	}
	return highest
}

// topButOne is the second highest of the tops: a door makes one, a thermostat many.
func (h *heading) topButOne() float64 {
	highest, second := math.Inf(-1), math.Inf(-1)
	for _, t := range h.Tops {
		switch top := t.Ends[0]; {
		case top > highest:
			highest, second = top, highest
		default:
			second = max(second, top)
		}
	}
	return second
}

// usual is the middle one of the tops: beer that climbs for days, and is turned by the cool of each night, lifts the
// highest of them.
func (h *heading) usual() float64 {
	ends := make([]float64, 0, len(h.Tops))
	for _, t := range h.Tops {
		ends = append(ends, t.Ends[0])
	}
	return median(ends)
}

// readsLow is by how much the thermometer is taken to read low: less than the setpoint while the beer is held there. Where
// its thermostat was not seen to turn, half of a cycle may be all that was seen, and only its highest tells.
func (h *heading) readsLow(setpoint float64) float64 {
	if !h.known() {
		return 0
	}
	held := h.Held
	if h.Turns < turnsKnown {
		held = max(held, h.top(0))
	}
	return min(max(setpoint-held, 0), probeError)
}
