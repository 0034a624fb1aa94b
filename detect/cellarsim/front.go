package cellarsim

import (
	"fmt"
	"math"
	"time"
)

// Front is weather that passes: the barometer goes one way in a straight line, stays a few hours, and goes back.
type Front struct {
	Begins  time.Duration // after the plan's start; below 0: it was under way
	Lasts   time.Duration // of the straight line, 6 to 20 h (judgement); 0: all at once
	KPa     float64       // to which it leads; a low: below 0; -0.5 to -2 (judgement)
	Returns time.Duration // lag with which it goes back, 20 to 60 h (judgement); 0: it does not
}

// frontStays is how long a front stands at its deepest (judgement).
const frontStays = 3 * time.Hour

// at is what the front adds to the barometer, kPa.
func (f Front) at(t time.Duration) float64 {
	since := t - f.Begins
	switch stood := since - f.Lasts; {
	case since < 0:
		return 0
	case stood < 0:
		return f.KPa * float64(since) / float64(f.Lasts)
	case stood <= frontStays || f.Returns == 0:
		return f.KPa
	default:
		return f.KPa * math.Exp(-float64(stood-frontStays)/float64(f.Returns))
	}
}

// check names the first thing that makes no front.
func (f Front) check() error {
	if f.Lasts < 0 || f.Returns < 0 {
		return fmt.Errorf("front at %s: it lasts %s and returns over %s; neither is below 0", f.Begins, f.Lasts, f.Returns)
	}
	return nil
}
