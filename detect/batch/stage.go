package batch

import (
	"fmt"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/stable"
)

// coolEnough is how far over its setpoint beer may be and still count as cold, K (the crash-drift alarm's own allowance).
const coolEnough = 1.0

// stage says where the batch is: what the log says, finished by what the curves show.
func (s *story) stage() Stage {
	switch {
	case !s.ended.IsZero():
		last := s.lines[len(s.lines)-1]
		if ends(last) || !begins(last) {
			return Stage{EmptyTank, EmptyTank.Title(), s.ended, "the log says that all of it has left", true}
		}
	case len(s.lines) == 0 && s.began.IsZero():
		return Stage{Name: StageUnknown, Title: StageUnknown.Title(), Why: "nothing is logged, and nothing was heard of any beer"}
	}
	if a, stands := s.standing(detect.Refermentation, s.at); stands && !s.stoodAfter(a.Onset) {
		return Stage{FermentingAnew, FermentingAnew.Title(), detect.Later(a.Onset, s.began), "the watch says so: " + s.own(a), false}
	}
	if stage, known := s.logged(); known {
		return stage
	}
	return s.seen()
}

// own is what an alarm says of the tank that this is all about.
func (s *story) own(a Alarm) string { return strings.TrimPrefix(a.Summary, s.tank+": ") }

// stoodAfter tells whether gravity has been shown to stand since after a moment: an alarm takes its time to clear.
func (s *story) stoodAfter(onset time.Time) bool {
	st := s.stands(s.worked())
	return st.State == stable.Shown && st.Since.After(onset)
}

// logged is the stage that the log gives.
func (s *story) logged() (Stage, bool) {
	if e, ok := s.last("package"); ok {
		if hop, _ := s.hopped(); e.Time.After(hop.Time) {
			return Stage{Packaging, Packaging.Title(), e.Time, "the log has a part of it packaged", true}, true
		}
	}
	if hop, ok := s.hopped(); ok && !s.lastTime("hops-off").After(hop.Time) {
		return Stage{OnHops, OnHops.Title(), hop.Time, "hopped by the log, and its hops are not logged off", true}, true
	}
	if e, ok := s.cooled(); ok {
		return s.cooling(e), true
	}
	if e, ok := s.last("rest", "pitch", "add"); ok && e.Name == "rest" {
		return Stage{Resting, Resting.Title(), e.Time, "the log says so", true}, true
	} else if ok {
		return s.fermenting(e.Time, "pitched by the log", true), true
	}
	return Stage{}, false
}

// cooling tells beer on its way down from beer that has come there.
func (s *story) cooling(crash detect.Event) Stage {
	setpoint, _ := crash.Amount("setpoint")
	reached := s.reached(setpoint+coolEnough, crash.Time)
	if reached.IsZero() {
		why := fmt.Sprintf("a crash to %s is logged", s.celsius(setpoint))
		if c, _, _, ok := s.reading(detect.Temperature, s.held(), s.at); ok {
			why += ", the beer reads " + s.celsius(c)
		}
		return Stage{Cooling, Cooling.Title(), crash.Time, why, true}
	}
	return Stage{Cold, Cold.Title(), reached, fmt.Sprintf("it has come to the setpoint of %s", s.celsius(setpoint)), true}
}

// reached is when the beer first came down to a temperature after a moment; zero: not yet.
func (s *story) reached(celsius float64, since time.Time) time.Time {
	var first time.Time
	for probe, c := range s.curves[detect.Temperature] {
		if s.settings.At[probe] == detect.Head {
			continue
		}
		for _, h := range c.until(s.at) {
			if h.Newest.After(since) && h.Value <= celsius && (first.IsZero() || h.Newest.Before(first)) {
				first = h.Newest
			}
		}
	}
	return first
}

// fermenting tells beer at work from beer that has come to its end.
func (s *story) fermenting(since time.Time, why string, sure bool) Stage {
	stands := s.stands(since)
	if stands.State == stable.Shown {
		return Stage{AtTerminal, AtTerminal.Title(), stands.Since, why + ", and gravity has stood since: " + stands.Said, sure}
	}
	return Stage{Fermenting, Fermenting.Title(), since, why, sure}
}

// coldBeer is the temperature below which nobody ferments beer (common practice: lager begins at 8 degC and above).
const coldBeer = 6.0

// seen is the stage that only the curves give, of a tank whose log is thin.
func (s *story) seen() Stage {
	celsius, _, _, warmth := s.reading(detect.Temperature, s.at.Add(-6*time.Hour), s.at)
	if warmth && celsius <= coldBeer {
		return Stage{Cold, Cold.Title(), s.began, "nothing is logged of this batch; the beer reads " + s.celsius(celsius), false}
	}
	stands := s.stands(s.began)
	switch {
	case stands.State == stable.Shown:
		return Stage{AtTerminal, AtTerminal.Title(), stands.Since, "nothing is logged of this batch; " + stands.Said, false}
	case stands.Falling:
		return Stage{Fermenting, Fermenting.Title(), s.began, "nothing is logged of this batch; " + stands.Said, false}
	}
	return Stage{Name: StageUnknown, Title: StageUnknown.Title(), Why: "nothing is logged of this batch, and the curves do not say: " + stands.Why}
}
