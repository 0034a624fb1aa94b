package alert

// Standing is everything that the state of an alarm depends on. The zero value is normal.
//
// ANSI/ISA-18.2 draws four states that follow the condition and the person's answer, and three that stand in front of
// them: shelved, suppressed by design, out of service. As in OPC 10000-9, what stands in front is kept apart from what
// lies behind, so that lifting it leads to the state that the live condition gives:
//
//	                 Activate         Acknowledge     Clear       Worsen
//	normal           unacknowledged   -               -           -
//	unacknowledged   -                acknowledged    returned    unacknowledged, told again
//	acknowledged     -                -               normal      unacknowledged
//	returned         unacknowledged   normal          -           -
//
//	Shelve, Suppress, Remove: from any of them to shelved, suppressed, out-of-service, in that order of precedence from
//	the last; Unshelve, Release, Replace: back to what lies behind.
//
// Four points that the standard leaves to its user are settled so:
//
//   - Suppression silences an active alarm. One that is returned has nothing to silence and stays returned.
//   - An acknowledgement outlives a suppression: a known dead probe does not ring because the broker restarted.
//   - It does not outlive a shelving. Whoever shelves promises to come back; if the condition is still there, it rings.
//   - A condition that grows worse ends a shelving: it is no longer what was shelved.
type Standing struct {
	Active     bool `json:"active,omitempty"`     // the condition holds, its on-delay has run
	Unanswered bool `json:"unanswered,omitempty"` // a person was called and has not acknowledged
	Owed       bool `json:"owed,omitempty"`       // a person is to be called as soon as nothing stands in front
	Shelved    bool `json:"shelved,omitempty"`
	Suppressed bool `json:"suppressed,omitempty"`
	Removed    bool `json:"removed,omitempty"` // out of service
}

// Step is what can happen to an alarm.
type Step string

// The steps of an alarm's life.
const (
	Activate    Step = "activate"    // the condition has held for the on-delay
	Clear       Step = "clear"       // the condition has been gone for the off-delay
	Worsen      Step = "worsen"      // the condition presses more than it did: the standard's re-alarm
	Acknowledge Step = "acknowledge" // by a person
	Shelve      Step = "shelve"      // by a person, for a time
	Unshelve    Step = "unshelve"    // by a person, or because the time is over
	Suppress    Step = "suppress"    // by design: a parent alarm or the log explains it
	Release     Step = "release"     // the explanation is over
	Remove      Step = "remove"      // taken out of service
	Replace     Step = "replace"     // put back into service
	Close       Step = "close"       // the batch has left the tank: nothing is left to answer
)

// After is the standing that a step leads to. A step that does not apply changes nothing.
func (s Standing) After(step Step) Standing {
	switch step {
	case Activate:
		s.Owed = s.Owed || !s.Active
		s.Active = true
	case Clear:
		s.Active, s.Owed = false, false
	case Worsen:
		s.Owed = s.Owed || s.Active
		s.Shelved = s.Shelved && !s.Active
	case Acknowledge:
		if !s.quiet() {
			s.Unanswered = false
		}
	case Shelve:
		if !s.Shelved {
			s.Shelved, s.Unanswered, s.Owed = true, false, s.Active
		}
	case Unshelve:
		s.Shelved = false
	case Suppress:
		s.Suppressed = true
	case Release:
		s.Suppressed = false
	case Remove:
		s.Removed = true
	case Replace:
		s.Removed = false
	case Close:
		return Standing{Suppressed: s.Suppressed, Removed: s.Removed}
	}
	return s.call()
}

// call turns a call that is owed into one that is made, where nothing stands in front.
func (s Standing) call() Standing {
	if s.Owed && !s.quiet() {
		s.Owed, s.Unanswered = false, true
	}
	return s
}

// quiet tells whether something stands in front of the condition and the answer.
func (s Standing) quiet() bool { return s.Removed || s.Shelved || s.Suppressed && s.Active }

// State is the standard's word for a standing.
func (s Standing) State() State {
	switch {
	case s.Removed:
		return OutOfService
	case s.Shelved:
		return Shelved
	case s.Active && s.Suppressed:
		return Suppressed
	case s.Active && s.Unanswered:
		return Unacknowledged
	case s.Active:
		return Acknowledged
	case s.Unanswered:
		return Returned
	}
	return Normal
}
