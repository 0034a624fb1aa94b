package batch

import (
	"time"

	"spile/detect"
)

// effective is the log up to a moment without the lines that were struck out, whenever that was.
func (r *Record) effective(at time.Time) []detect.Event {
	var out []detect.Event
	for _, e := range r.inForce {
		if !e.Time.After(at) {
			out = append(out, e)
		}
	}
	return out
}
