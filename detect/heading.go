package detect

import (
	"math"
	"time"
)

// heading looks ahead: does beer that is still within its allowance leave it soon?
//
// A thermostat makes a sawtooth whose tops come back day after day. Beer whose
// cooling has failed climbs past those tops and goes on climbing; the line
// through its last two hours then says when it will pass the limit. A door
// left open, a warm afternoon, a wide thermostat do not climb past their tops.
type heading struct {
	Block block
	Trail []sample // means of ten minutes over the last day
}

// When a climb is told ahead (common practice).
const (
	headingWidth   = 10 * time.Minute
	headingTrail   = 30 * time.Hour
	headingHistory = 20 * time.Hour // of tops that must be known
	headingLook    = 2 * time.Hour  // that the climb must have lasted
	headingTop     = 40 * time.Minute
	headingAhead   = 4.0  // h to the limit when it is told
	overTheTops    = 0.18 // K
	leastClimb     = 0.03 // K/h
	headingReach   = 0.55 // K to the limit: a thermostat may swing that far below it
	headingAlmost  = 0.2  // K to the limit, where no tops need be known
	surelyRising   = 0.05 // K/h
	headingShare   = 0.6  // of its climb that the last hour must hold
)

// follow adds one believed temperature.
func (h *heading) follow(celsius float64, at time.Time) {
	done, ok := h.Block.add(at, headingWidth, celsius, 0)
	if !ok {
		return
	}
	mean, _, _, _ := done.mean(driftJump)
	h.Trail = append(h.Trail, sample{At: done.Start, Value: mean})
	for len(h.Trail) > 0 && done.Start.Sub(h.Trail[0].At) > headingTrail {
		h.Trail = h.Trail[1:]
	}
}

// passes is when beer, now so warm, passes the limit if it climbs on, and whether it does. A
// climb that was told goes on until it is clearly over.
func (h *heading) passes(limit, now float64, told bool) (time.Time, bool) {
	if len(h.Trail) == 0 {
		return time.Time{}, false
	}
	newest := h.Trail[len(h.Trail)-1]
	tops, known := h.tops(newest.At)
	long, level, ok1 := line(h.Trail, newest.At.Add(-headingLook))
	level = math.Min(level, now)
	short, _, ok2 := line(h.Trail, newest.At.Add(-headingLook/2))
	almost := limit-level < headingAlmost && math.Min(long, short) > surelyRising
	switch {
	case !ok1 || !ok2 || long <= 0:
		return time.Time{}, false
	case almost:
	case !known || level < tops:
		return time.Time{}, false
	case told:
	case level < tops+overTheTops || limit-level > headingReach || long < leastClimb || short < headingShare*long:
		return time.Time{}, false
	}
	ahead := (limit - level) / math.Max(math.Min(long, short), leastClimb)
	if ahead > headingAhead && !told {
		return time.Time{}, false
	}
	return newest.At.Add(hours(math.Max(ahead, 0))), true
}

// tops is the highest that beer came before the present climb, as means over
// half an hour and more, so that no single reading makes a top.
func (h *heading) tops(now time.Time) (float64, bool) {
	highest, first := math.Inf(-1), h.Trail[0].At
	for i := range h.Trail {
		if now.Sub(h.Trail[i].At) < headingLook {
			break
		}
		var sum, n float64
		for j := i; j >= 0 && h.Trail[i].At.Sub(h.Trail[j].At) < headingTop; j-- {
			sum, n = sum+h.Trail[j].Value, n+1
		}
		highest = math.Max(highest, sum/n)
	}
	return highest, now.Sub(first) >= headingHistory+headingLook
}

// line is the slope per hour of the samples since a time, and the line's level at the newest.
func line(trail []sample, since time.Time) (slope, level float64, ok bool) {
	var n, sx, sy, sxx, sxy float64
	end := trail[len(trail)-1].At
	for _, s := range trail {
		if s.At.Before(since) {
			continue
		}
		x := s.At.Sub(end).Hours()
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+s.Value, sxx+x*x, sxy+x*s.Value
	}
	spread := n*sxx - sx*sx
	if n < 3 || spread <= 0 {
		return 0, 0, false
	}
	slope = (n*sxy - sx*sy) / spread
	return slope, (sy - slope*sx) / n, true
}
