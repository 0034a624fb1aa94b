package detect

import (
	"math"
	"slices"
	"time"
)

// level is where a float's gravity stands, and its newest readings beside it. A float that somebody takes to another
// tank, or that lies on the floor, jumps further than hops can push it.
type level struct {
	Newest []float64 // SG
	First  []float64 // SG, until they make a level
	Before float64   // SG, where it stood before the newest
	N      int       // readings that make Before
}

// When a float is asked about (common practice).
const (
	movedReadings = 4     // in a row
	movedKnown    = 6     // readings that make a level
	movedMemory   = 8.0   // readings
	movedTogether = 0.003 // SG that the newest lie within
	movedFar      = 0.006 // SG: hops leave some 0.0035
	movedBack     = 0.004 // SG from its old level, where it counts as back
)

// follow takes one reading in. What has jumped is no level until it was asked about and is back.
func (l *level) follow(sg float64, moved bool) {
	l.Newest = append(l.Newest, sg)
	if len(l.Newest) <= movedReadings {
		return
	}
	oldest := l.Newest[0]
	l.Newest = slices.Delete(l.Newest, 0, 1) // where they stand, so that the next one needs no memory
	if moved {
		return
	}
	if l.N++; l.N <= movedKnown {
		l.First = append(l.First[:l.N-1], oldest)
		l.Before = median(l.First) // a mean would keep a wild one for good
		return
	}
	l.First = nil
	off := min(max(oldest-l.Before, -movedBack), movedBack) // a wild value or two move no level
	l.Before += off / movedMemory
}

// jumped tells whether the newest readings agree with each other and stand further off the level than some gravity.
func (l *level) jumped(far float64) bool {
	if len(l.Newest) < movedReadings || l.N < movedKnown {
		return false
	}
	return slices.Max(l.Newest)-slices.Min(l.Newest) < movedTogether && math.Abs(median(l.Newest)-l.Before) > far
}

// elsewhere follows a float's level, and tells whether it was taken elsewhere and nobody wrote it down. Beer that ferments
// on purpose may jump: fruit and sugar are added to it.
func (t *Tank) elsewhere(r Reading, h *habit) bool {
	if r.Quantity != Gravity {
		return false
	}
	was := h.Failing == moved
	h.Level.follow(r.Value, was)
	switch {
	case t.state.Book.Working:
		h.Level.N = 0
		return false
	case was:
		return len(h.Level.Newest) < movedReadings || math.Abs(median(h.Level.Newest)-h.Level.Before) > movedBack
	}
	return h.Level.jumped(movedFar)
}

// pulled tells whether a thermometer reads far off while people have hands on the tank: then they have it in the hand.
func (t *Tank) pulled(r Reading) bool {
	g := t.state.Drift.Gate
	return r.Time.Before(t.state.Book.HandsOn) && g.Seen && r.Time.Sub(g.At) < pulledFor && math.Abs(r.Value-g.Value) > pulledFar
}

// What passes for a thermometer in the hand (common practice).
const (
	pulledFar = 3.0            // K
	pulledFor = 12 * time.Hour // as long as hands are on a tank
)
