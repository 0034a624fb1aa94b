package batch

import (
	"time"

	"spile/detect"
	"spile/detect/stable"
)

// stableWarm is the condition that gravity stands and, of cold beer, that it stood before it was cooled: yeast that only
// sleeps in the cold wakes in a warm package.
func (s *story) stableWarm(title string, since time.Time) (Condition, standing) {
	c, st := s.stable(title, since)
	coolings := s.coolings(since)
	if len(coolings) == 0 && !s.reads(coldBeer) {
		return c, st
	}
	c.Title += ", and stood before it was cooled"
	if c.State() != Yes {
		return c, st
	}
	for i, cooled := range coolings {
		then := s.asOf(cooled)
		if i > 0 && then.reads(coldBeer) {
			continue // sent from cold to colder
		}
		if then.stood(since) {
			return met(c.Name, c.Title, c.Evidence+"; and it stood when it was cooled on "+s.clock(cooled)), st
		}
	}
	if end, from, ok := s.forcedEnd(); ok && from.After(s.lastTime("add")) {
		if now, known := s.present(); known && now-end <= s.limits.StablePoints*point {
			return met(c.Name, c.Title, c.Evidence+"; the forced test of "+s.clock(from)+" ended here"), st
		}
	}
	why := "; but it is cold, and was not seen to stand warm"
	if len(coolings) > 0 {
		why = "; but it was cooled on " + s.clock(coolings[0]) + " before it was shown to stand"
	}
	return unknown(c.Name, c.Title, c.Evidence+why+", and yeast that sleeps in the cold wakes in a warm package",
		"a forced test of this beer, hops and all, kept warm; or warm the tank, log the rest, and watch it for two days"), st
}

// coolings are when beer was cooled since a moment, and not warmed again: as logged, or as the thermometers show it.
func (s *story) coolings(since time.Time) []time.Time {
	var out []time.Time
	for _, e := range s.lines {
		switch e.Name {
		case "rest", "pitch":
			out = nil
		case "crash":
			if e.Time.After(since) {
				out = append(out, e.Time)
			}
		}
	}
	if p, looks := s.unloggedCrash(); looks && len(out) == 0 && p.Time.After(since) {
		out = append(out, p.Time)
	}
	return out
}

// reads tells whether a thermometer has the beer at or under a temperature.
func (s *story) reads(celsius float64) bool {
	c, _, _, ok := s.reading(detect.Temperature, s.held(), s.at)
	return ok && c <= celsius
}

// stood tells whether gravity is shown to stand here, or was as the beer left the tank it came from.
func (s *story) stood(since time.Time) bool {
	st := s.stands(since)
	if st.State == stable.Unknown && s.before != nil {
		st = s.before.stands(since)
	}
	return st.State == stable.Shown
}
