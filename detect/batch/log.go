package batch

import (
	"time"

	"spile/detect"
)

// effective is the log up to a moment without the lines that were struck out later: a line put wrong stays in the
// journal, and says nothing any more.
func (r *Record) effective(at time.Time) []detect.Event {
	struck := map[string]bool{}
	for _, e := range r.log {
		if line := e.Word("corrects"); line != "" {
			struck[line] = true
		}
		if e.Name == "strike" {
			struck[e.Word("line")] = true
		}
	}
	var out []detect.Event
	for _, e := range r.log {
		if e.Time.After(at) || e.Name == "strike" || struck[e.Identity()] {
			continue
		}
		out = append(out, e)
	}
	return out
}
