package batch

import (
	"slices"
	"time"

	"spile/detect"
)

// effective is the log up to a moment without the lines that were struck out later: a line put wrong stays in the
// journal, and says nothing any more.
func (r *Record) effective(at time.Time) []detect.Event {
	struck := r.struck()
	var out []detect.Event
	for _, e := range r.log {
		if e.Time.After(at) || e.Name == "strike" || struck[e.Identity()] {
			continue
		}
		out = append(out, e)
	}
	return out
}

// struck are the lines that a later one corrects or strikes out. A line that is struck out itself strikes nothing.
func (r *Record) struck() map[string]bool {
	struck := map[string]bool{}
	written := slices.SortedStableFunc(slices.Values(r.log), func(a, b detect.Event) int { return b.Arrived.Compare(a.Arrived) })
	for _, e := range written { // the newest first
		if struck[e.Identity()] {
			continue
		}
		if line := e.Word("corrects"); line != "" {
			struck[line] = true
		}
		if e.Name == "strike" {
			struck[e.Word("line")] = true
		}
	}
	return struck
}
