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
	Waiting bool
	Held    float64
}

// pass takes a value and tells whether it may be judged now. A step is the
// jump between two readings that asks for a second one.
func (g *gate) pass(value float64, at time.Time, step float64) bool {
	near := !g.Seen || math.Abs(value-g.Value) <= step
	confirmed := g.Waiting && math.Abs(value-g.Held) <= step
	if !near && !confirmed {
		g.Waiting, g.Held = true, value
		return false
	}
	g.Seen, g.Waiting, g.Value, g.At = true, false, value, at
	return true
}
