package batch

import (
	"slices"
	"time"

	"spile/detect"
)

// story is a batch up to a moment: the lines of the log that belong to it.
type story struct {
	*Record
	at    time.Time
	began time.Time
	ended time.Time // zero: it goes on
	lines []detect.Event
	first bool // nothing that ended is known before it

	source *source // where the beer came from; nil: it was pitched here, or nobody knows
	before *story  // the batch there, as it was drawn off
}

// story finds the batch that was in the tank at a moment: from the last pitch, or from when beer came in or, where neither
// is logged, from the end of the batch before.
func (r *Record) story(at time.Time) *story {
	s := &story{Record: r, at: at}
	waiting := r.sources
	for _, e := range r.effective(at) {
		for len(waiting) > 0 && !waiting[0].at.After(e.Time) {
			s.fill(waiting[0])
			waiting = waiting[1:]
		}
		s.add(e)
	}
	for _, in := range waiting {
		if !in.at.After(at) {
			s.fill(in)
		}
	}
	if first := r.firstHeard(at); s.began.IsZero() || !s.pitched() && s.first && first.Before(s.began) {
		s.began = first
	}
	s.follow()
	return s
}

// add takes a line of the log into the story.
func (s *story) add(e detect.Event) {
	switch {
	case e.Name == "pitch", !s.ended.IsZero() && begins(e):
		s.first = s.began.IsZero()
		s.began, s.ended, s.lines, s.source = e.Time, time.Time{}, nil, nil
	case s.began.IsZero() && begins(e):
		s.began, s.first = e.Time, true
	}
	s.lines = append(s.lines, e)
	if ends(e) {
		s.ended = e.Time
	}
}

// fill takes in that beer came from another tank. Into a tank that held beer already it is a blend, which keeps the name
// of what was there.
func (s *story) fill(in source) {
	switch {
	case s.source != nil && s.ended.IsZero() && s.source.record == in.record:
		if s.source.liters > 0 && in.liters > 0 {
			s.source.liters += in.liters
		}
	case s.pitched() && s.ended.IsZero():
	default:
		s.began, s.ended, s.first, s.source = in.at, time.Time{}, false, &in
		s.lines = nil
	}
}

// follow puts what was done to the beer in the tank it came from before what was done here.
func (s *story) follow() {
	if s.source == nil {
		return
	}
	s.before = s.source.record.story(s.source.at.Add(-time.Millisecond))
	s.lines, s.began = append(slices.Clone(s.before.lines), s.lines...), s.before.began
}

// held is since when the beer is in this tank.
func (s *story) held() time.Time {
	if s.source != nil {
		return s.source.at
	}
	return s.began
}

// here are the lines of what was done in this tank.
func (s *story) here() []detect.Event {
	if s.before == nil {
		return s.lines
	}
	return s.lines[len(s.before.lines):]
}

// ends tells whether a line says that all the beer has left.
func ends(e detect.Event) bool {
	switch e.Name {
	case "empty":
		return true
	case "transfer", "package":
		_, part := e.Amount("volume")
		return !part
	}
	return false
}

// begins tells whether a line can be the first of a batch: what is done to an empty tank is no part of one.
func begins(e detect.Event) bool {
	switch e.Name {
	case "empty", "note", "work", "probe", "seal", "vent", "gas", "tell":
		return false
	}
	return true
}

// firstHeard is when the first reading of gravity or temperature came.
func (r *Record) firstHeard(at time.Time) time.Time {
	var first time.Time
	for _, q := range []detect.Quantity{detect.Gravity, detect.Temperature} {
		for _, c := range r.curves[q] {
			if hours := c.until(at); len(hours) > 0 && (first.IsZero() || hours[0].Start.Before(first)) {
				first = hours[0].Start
			}
		}
	}
	return first
}

func (s *story) pitched() bool { return len(s.lines) > 0 && s.lines[0].Name == "pitch" }

// last is the newest line of some names.
func (s *story) last(names ...string) (detect.Event, bool) {
	for _, e := range slices.Backward(s.lines) {
		if slices.Contains(names, e.Name) {
			return e, true
		}
	}
	return detect.Event{}, false
}

// lastTime is when that was; the zero time comes before everything.
func (s *story) lastTime(names ...string) time.Time {
	e, _ := s.last(names...)
	return e.Time
}

// hopped is the newest cold dry-hop, whether its hops are off or not.
func (s *story) hopped() (detect.Event, bool) {
	for _, e := range slices.Backward(s.lines) {
		if e.Name == "dry-hop" && e.Word("kind") != "active" {
			return e, true
		}
	}
	return detect.Event{}, false
}

// worked is the newest moment from which gravity must prove itself anew: yeast was given something to eat.
func (s *story) worked() time.Time {
	since := s.began
	for _, e := range s.lines {
		switch e.Name {
		case "pitch", "add", "dry-hop":
			since = e.Time
		}
	}
	return since
}

// cooled is the newest cooling that is in force: a crash that no rest has ended.
func (s *story) cooled() (detect.Event, bool) {
	e, ok := s.last("crash", "rest", "pitch")
	return e, ok && e.Name == "crash"
}

// volume is how much beer is in the tank, L: what was pitched, came in or the config says, less what left and with what
// was added.
func (s *story) volume() (float64, bool) {
	liters, known := s.settings.BeerLiters, s.settings.BeerLiters > 0
	if s.source != nil {
		if s.source.liters > 0 {
			liters, known = s.source.liters, true
		} else if all, told := s.before.volume(); told {
			liters, known = all, true
		}
	}
	for _, e := range s.here() {
		v, given := e.Amount("volume")
		switch {
		case !given:
			if ends(e) {
				liters = 0
			}
		case e.Name == "pitch":
			liters, known = v, true
		case e.Name == "add":
			liters += v
		default:
			liters = max(0, liters-v)
		}
	}
	return liters, known
}
