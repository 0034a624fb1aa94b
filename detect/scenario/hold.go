package scenario

import (
	"errors"
	"fmt"
	"time"

	"spile/detect"
)

// Step is one step of an alarm, as far as an expectation can speak of it.
type Step struct {
	Time     time.Time
	Incident string // the same in all steps of an incident
	Tank     string
	Alarm    detect.Alarm
	Probe    string
	Priority detect.Priority
	Called   bool // a person is called: the alarm is unacknowledged now
	Over     bool // the condition is gone: returned, or normal again
	Summary  string
}

// Hold holds the steps of a night, oldest first, against what the file expects. From and to are the first and last
// moment of which anything is known. It is nil when all came as expected; otherwise each line of the error is one
// expectation that failed, in a sentence that begins with its place in the file.
//
// A scenario that does not say when it starts counts its days from midnight (UTC) before from.
func (s *Scenario) Hold(steps []Step, from, to time.Time) error {
	h := night{Scenario: s, steps: steps, from: from, to: to, dayOne: s.dayOne}
	if !s.dated {
		h.dayOne = midnight(from.UTC())
	}
	var failed []error
	for _, e := range s.Expectations {
		if problem := h.problem(e); problem != "" {
			failed = append(failed, fmt.Errorf("%s:%d: %s", s.Name, e.Line, problem))
		}
	}
	return errors.Join(failed...)
}

// night is what happened, held against a scenario.
type night struct {
	*Scenario
	steps    []Step
	from, to time.Time
	dayOne   time.Time
}

// problem says what is wrong with one expectation, empty where nothing is.
func (h night) problem(e Expectation) string {
	first, last := h.window(e)
	if first.After(h.to) || last.Before(h.from) {
		return fmt.Sprintf("%s cannot be told: what was heard runs from %s to %s", e.subject(), h.clock(e, h.from), h.clock(e, h.to))
	}
	if e.Never {
		return h.unwanted(e)
	}
	return h.missing(e)
}

// window is the time of an expectation.
func (h night) window(e Expectation) (first, last time.Time) {
	first, last = h.from, h.to
	if e.from.set {
		first = e.from.at(h.dayOne)
	}
	if e.to.set {
		last = e.to.at(h.dayOne)
	}
	return first, last
}

// within tells whether a step falls into the time of an expectation.
func (h night) within(e Expectation, st Step) bool {
	first, last := h.window(e)
	return (!e.from.set || !st.Time.Before(first)) && (!e.to.set || !st.Time.After(last))
}

// speaks tells whether an expectation is about the alarm of a step.
func (e Expectation) speaks(st Step) bool {
	return (e.Tank == "" || e.Tank == st.Tank || st.Tank == "") && (e.Alarm == "" || e.Alarm == st.Alarm) &&
		(e.Probe == "" || e.Probe == st.Probe)
}

// counts tells whether a step is a call that an expectation is about, at whatever time.
func (e Expectation) counts(st Step) bool {
	return st.Called && e.speaks(st) && (e.Least == "" || st.Priority.AtLeast(e.Least))
}

// unwanted finds the call that should not have come.
func (h night) unwanted(e Expectation) string {
	for _, st := range h.steps {
		if !e.counts(st) || !h.within(e, st) || (e.Else && h.named(st)) {
			continue
		}
		return fmt.Sprintf("%s was expected%s, but %s %s came at %s: %s",
			e.subject(), h.when(e), st.Priority, called(st), h.clock(e, st.Time), st.Summary)
	}
	return ""
}

// named tells whether a line of the file speaks of an alarm by its name.
func (h night) named(st Step) bool {
	for _, e := range h.Expectations {
		if e.Alarm != "" && e.speaks(st) {
			return true
		}
	}
	return false
}

// missing finds out why a call that should have come did not, or came too early.
func (h night) missing(e Expectation) string {
	wanted := fmt.Sprintf("%s was expected%s, but ", e.subject(), h.when(e))
	late := Step{}
	for _, st := range h.steps {
		switch {
		case !e.counts(st):
		case h.within(e, st):
			return h.staying(e, st)
		case e.from.set && st.Time.Before(e.from.at(h.dayOne)):
			if !h.expectedElsewhere(e, st) {
				return wanted + fmt.Sprintf("came as early as %s: %s", h.clock(e, st.Time), st.Summary)
			}
		case late.Time.IsZero():
			late = st
		}
	}
	if !late.Time.IsZero() {
		return wanted + fmt.Sprintf("came only at %s: %s", h.clock(e, late.Time), late.Summary)
	}
	if _, last := h.window(e); last.After(h.to) {
		return wanted + "what was heard ends at " + h.clock(e, h.to) + " and until then it never came"
	}
	return wanted + "it never came"
}

// expectedElsewhere tells whether another line wants this call.
func (h night) expectedElsewhere(but Expectation, st Step) bool {
	for _, e := range h.Expectations {
		if e != but && !e.Never && e.counts(st) && h.within(e, st) {
			return true
		}
	}
	return false
}

// staying says what is wrong with the end of an alarm that was called in time.
func (h night) staying(e Expectation, call Step) string {
	if !e.returns.set {
		return ""
	}
	by := e.returns.at(h.dayOne)
	wanted := fmt.Sprintf("%s came at %s and was to return by %s, but ", e.subject(), h.clock(e, call.Time), h.clock(e, by))
	for _, st := range h.steps {
		if st.Incident != call.Incident || !st.Over || st.Time.Before(call.Time) {
			continue
		}
		if st.Time.After(by) {
			return wanted + "returned only at " + h.clock(e, st.Time)
		}
		return ""
	}
	return wanted + "it stayed"
}

// clock writes a time as the expectation writes its own.
func (h night) clock(e Expectation, t time.Time) string {
	for _, m := range []moment{e.from, e.to, e.returns} {
		if m.set {
			return m.written(t, h.dayOne)
		}
	}
	return moment{}.written(t, h.dayOne)
}

// when words the time of an expectation.
func (h night) when(e Expectation) string {
	first, last := h.window(e)
	switch {
	case e.from.set && e.to.set:
		return fmt.Sprintf(" between %s and %s", h.clock(e, first), h.clock(e, last))
	case e.from.set:
		return " after " + h.clock(e, first)
	case e.to.set:
		return " by " + h.clock(e, last)
	}
	return ""
}

// subject words what an expectation is about.
func (e Expectation) subject() string {
	out := string(e.Alarm)
	switch {
	case e.Else:
		out = "nothing else"
	case e.Alarm == "":
		out = "nothing"
	case e.Never:
		out = "no " + out
	}
	if e.Probe != "" {
		out += " on " + e.Probe
	}
	if e.Tank != "" {
		out += " of " + e.Tank
	}
	if e.Least != "" {
		out += " at " + string(e.Least) + " or above"
	}
	return out
}

// called words the alarm of a step.
func called(st Step) string {
	out := string(st.Alarm)
	if st.Probe != "" {
		out += " on " + st.Probe
	}
	if st.Tank != "" {
		out += " of " + st.Tank
	}
	return out
}
