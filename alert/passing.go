package alert

import (
	"slices"
	"time"
)

// A tank that nobody named and of which little was heard is forgotten after a while, so that a device which makes up
// names does not fill the memory for ever. Our choice: a real probe says more than this within its first day.
const (
	passingMost  = 10 // messages
	passingAfter = 24 * time.Hour
)

// acquaintance is how much was heard of a tank.
type acquaintance struct {
	Heard int       `json:"heard,omitempty"` // messages, counted as far as it matters
	Said  time.Time `json:"said,omitzero"`   // arrival of the newest
}

// hear counts a message; several readings that arrive together are one.
func (a *acquaintance) hear(at time.Time) {
	if !at.Equal(a.Said) && a.Heard < passingMost {
		a.Heard++
	}
	a.Said = at
}

// passing tells of a tank that may be forgotten.
func (w *Watch) passing(v *vessel) bool {
	_, named := w.options.Tanks[v.name]
	if named || v.known.Heard >= passingMost || w.at.Sub(v.known.Said) < passingAfter {
		return false
	}
	return !slices.ContainsFunc(v.conditions, func(c *condition) bool { return c.Standing.State() != Normal })
}

// forgetPassing runs once an hour.
func (w *Watch) forgetPassing() {
	if w.at.Minute() != 0 {
		return
	}
	w.vessels = slices.DeleteFunc(w.vessels, func(v *vessel) bool {
		if !w.passing(v) {
			return false
		}
		delete(w.cooling.Samples, v.name)
		delete(w.heads, v.name)
		w.annunciator.forget(v.name)
		return true
	})
}
