package detect

import (
	"math"
	"time"
)

// gate lets a probe's curve through and holds a lone wild value back: a jump
// is believed once the next reading stands by it.
type gate struct {
	Seen    bool
	Value   float64 // the newest that passed
	At      time.Time
	Before  sample // the one before that
	Waiting bool
	Held    float64
	HeldAt  time.Time
}

// gateGoesOn is from when on a value that went further the way that the held one
// went bears it out: what changes so fast must not wait until it is over (judgement).
const gateGoesOn = 10 * time.Minute

// pass takes a value and tells whether it may be judged now. A step is the
// jump between two readings that asks for a second one.
func (g *gate) pass(value float64, at time.Time, step float64) bool {
	near := !g.Seen || math.Abs(value-g.Value) <= step
	confirmed := g.Waiting && math.Abs(value-g.Held) <= step
	goesOn := g.Waiting && (value-g.Held)*(g.Held-g.Value) > 0 && at.Sub(g.At) >= gateGoesOn
	if !near && !confirmed && !goesOn && !g.climbsOn(value, at, step) {
		g.Waiting, g.Held, g.HeldAt = true, value, at
		return false
	}
	if g.Seen && at.After(g.At) {
		g.Before = sample{At: g.At, Value: g.Value}
	}
	g.Seen, g.Waiting, g.Value, g.At = true, false, value, at
	return true
}

// climbsOn tells whether a value stands where the two that passed before lead to, of a probe that speaks no more than each
// few minutes: the next one may come too late. It leads no further ahead than twice the time between them.
func (g *gate) climbsOn(value float64, at time.Time, step float64) bool {
	past, before := at.Sub(g.At), g.At.Sub(g.Before.At)
	if g.Before.At.IsZero() || past < gateGoesOn || before < gateGoesOn || past > 2*before {
		return false
	}
	return math.Abs(g.Value+(g.Value-g.Before.Value)*past.Hours()/before.Hours()-value) <= step
}

// staysAway tells of a probe that seldom speaks whether a value is as far off as the one that waits, on the same side,
// without agreeing with it: a tank that was blown down, and whose beer gives the gas back, between any two readings.
func (g *gate) staysAway(value, step float64) bool {
	return g.Waiting && g.HeldAt.Sub(g.At) >= seldomSpeaks && math.Abs(value-g.Value) > step && (value-g.Value)*(g.Held-g.Value) > 0
}

// asOf is the newest value from before a moment, so that what different probes
// say at one moment may be heard in either order. A value is good for some time.
func (g *gate) asOf(at time.Time, good time.Duration) (float64, bool) {
	newest := g.until(at)
	return newest.Value, !newest.At.IsZero() && newest.At.Before(at) && at.Sub(newest.At) <= good
}

// until is the newer of the two values that passed last which is from before a moment, if one is.
func (g *gate) until(at time.Time) sample {
	if g.At.Before(at) {
		return sample{At: g.At, Value: g.Value}
	}
	return g.Before
}
