package page

import (
	"slices"
	"time"

	"spile/detect"
)

// stretch is what part of the past the curves of a tank show.
type stretch struct {
	Name  string // in the address
	Words string // on the page
}

// The stretches that a person can choose, the shortest first.
var stretches = []stretch{{"night", "Night"}, {"week", "Week"}, {"batch", "Batch"}}

const (
	nightLength  = 16 * time.Hour // from before the last ones go home
	weekLength   = 7 * 24 * time.Hour
	batchLongest = 120 * 24 * time.Hour // a batch whose pitch nobody logged, or that nobody ended
	curvePoints  = 500                  // more than a screen tells apart make a drawing heavy and no finer
)

// curveSteps are the lengths into which readings are folded.
var curveSteps = []time.Duration{
	time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 20 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 4 * time.Hour, 8 * time.Hour, 24 * time.Hour,
}

// window is a stretch as it is drawn.
type window struct {
	Stretch  string
	From, To time.Time
	Step     time.Duration
}

// stretchOf is a stretch by the name that a request gives; none is the night.
func stretchOf(name string) (stretch, error) {
	if name == "" {
		return stretches[0], nil
	}
	if i := slices.IndexFunc(stretches, func(s stretch) bool { return s.Name == name }); i >= 0 {
		return stretches[i], nil
	}
	return stretch{}, bad("range=%q: write night, week or batch", name)
}

// windowOf is a stretch of a tank's past up to a moment. A batch begins with its pitch, and ends where the log says that
// the tank was emptied.
func windowOf(s stretch, events []detect.Event, until time.Time) window {
	out := window{Stretch: s.Name, To: until}
	switch s.Name {
	case "night":
		out.From = until.Add(-nightLength)
	case "week":
		out.From = until.Add(-weekLength)
	default:
		out.From, out.To = batchOf(events, until)
	}
	out.Step = stepFor(out.To.Sub(out.From))
	return out
}

// stepFor is the shortest step that does not make too many points of a length.
func stepFor(length time.Duration) time.Duration {
	for _, step := range curveSteps {
		if length <= curvePoints*step {
			return step
		}
	}
	return curveSteps[len(curveSteps)-1]
}

// batchOf is from the newest pitch to the end of its beer. Where no pitch is logged it is what is kept, within bounds.
func batchOf(events []detect.Event, until time.Time) (from, to time.Time) {
	from, to = until.Add(-batchLongest), until
	for _, e := range events { // oldest first
		if e.Time.After(until) || e.Time.Before(from) {
			continue
		}
		_, part := e.Amount("volume")
		switch {
		case e.Name == "pitch":
			from, to = e.Time.Add(-time.Hour), until
		case e.Name == "empty", !part && (e.Name == "transfer" || e.Name == "package"):
			to = e.Time.Add(time.Hour)
		}
	}
	return from, detect.Earlier(to, until)
}
