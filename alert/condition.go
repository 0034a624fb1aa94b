package alert

import (
	"cmp"
	"crypto/sha256"
	"encoding/base32"
	"strconv"
	"strings"
	"time"

	"spile/detect"
)

// condition is one alarm of one tank, and of one probe where it is about one: what the detector says, the timers that
// hang on it, and the incident that came of it.
type condition struct {
	Finding  detect.Finding  `json:"finding"` // the newest
	Holds    bool            `json:"holds"`   // as the detector has it, before the delays
	Changed  time.Time       `json:"changed"` // arrival at which Holds last changed, or from when on it is known to hold
	Standing Standing        `json:"standing"`
	Why      string          `json:"why,omitempty"`   // what stands in front
	Grown    bool            `json:"grown,omitempty"` // it presses more, and nobody was told yet
	Until    time.Time       `json:"until,omitzero"`
	ID       string          `json:"id,omitempty"` // of the incident, empty while normal
	Raised   time.Time       `json:"raised,omitzero"`
	Nth      int             `json:"nth,omitempty"` // of the incidents raised at the same instant
	Priority detect.Priority `json:"priority,omitempty"`
}

// delays are the two timers of an alarm.
type delays struct{ on, off time.Duration }

// compareConditions sorts by the catalogue, so that parents come first, then by probe.
func compareConditions(a, b *condition) int {
	return cmp.Or(
		cmp.Compare(place(a.Finding.Alarm), place(b.Finding.Alarm)),
		cmp.Compare(a.Finding.Alarm, b.Finding.Alarm),
		cmp.Compare(a.Finding.Probe, b.Finding.Probe),
	)
}

// hear takes what a detector says. A finding that ends keeps the onset, and the words where it brings none.
func (c *condition) hear(f detect.Finding, at time.Time) {
	goesOn := c.Holds || c.Standing.Active
	if f.Active != c.Holds {
		c.Holds, c.Changed = f.Active, at
	}
	if before := at.Add(-f.Held); f.Active && before.Before(c.Changed) {
		c.Changed = before
	}
	if !f.Active {
		f.Onset = c.Finding.Onset
		if f.Summary == "" {
			f.Summary, f.Evidence = c.Finding.Summary, c.Finding.Evidence
		}
	}
	if f.Active && c.ID != "" && goesOn && f.Onset.After(c.Raised) {
		f.Onset = began(c.Finding.Onset, c.Raised) // what was called has begun, whatever limit it passes since
	}
	c.Grown = f.Active && (f.Worse || c.Grown)
	c.Finding = f
}

// presses is the priority that the finding asks for.
func (c *condition) presses() detect.Priority {
	if c.Finding.Priority.Rank() > 0 {
		return c.Finding.Priority
	}
	d, _ := Define(c.Finding.Alarm)
	return d.Priority
}

// stands tells whether this condition may explain another: it holds, or has not been gone for its off-delay yet.
// The on-delay does not matter: the child must not ring while its parent waits to.
func (c *condition) stands(at time.Time, d delays) bool {
	fresh := !c.Changed.IsZero() && at.Before(c.Changed.Add(d.off))
	return !c.Standing.Removed && (c.Holds || c.Standing.Active || fresh)
}

// front is what stands in front of a condition at one moment.
type front struct {
	removed   bool
	explained string          // why it is suppressed by design; empty: it is not
	presses   detect.Priority // what the condition asks for now
}

// settle brings the standing up to the moment: first what ended, then what stands in front, then what began, so that
// things that happen at once are told once. It returns the steps' outcome and whether a person is to be called.
func (c *condition) settle(at time.Time, d delays, f front) (after Standing, call bool) {
	s := c.Standing
	if s.Active && !c.Holds && !at.Before(c.Changed.Add(d.off)) {
		s = s.After(Clear)
	}
	s = s.After(either(f.removed, Remove, Replace))
	// What only waits for its off-delay calls nobody: it stays quiet until it is gone, or back.
	fading := s.Suppressed && s.Active && !c.Holds
	s = s.After(either(f.explained != "" || fading, Suppress, Release))
	if s.Shelved && !at.Before(c.Until) {
		s = s.After(Unshelve)
	}
	switch worse := f.presses.Rank() > c.Priority.Rank() || c.Grown; {
	case c.Holds && !s.Active && !at.Before(c.Changed.Add(d.on)):
		s = s.After(Activate)
		c.Priority, c.Grown = f.presses, false
	case c.Holds && s.Active && worse:
		s, call = s.After(Worsen), true
		c.Priority, c.Grown = f.presses, false
	}
	return s, call && s.State() == Unacknowledged
}

// either chooses between two steps.
func either(yes bool, step, other Step) Step {
	if yes {
		return step
	}
	return other
}

// move takes the condition to a new standing and returns the transition, if there is one to tell: a change of state, or
// a person called again.
func (c *condition) move(to Standing, call bool, at time.Time, site, tank string) (Transition, bool) {
	from := c.Standing.State()
	c.Standing = to
	state := to.State()
	if from == state && !call {
		return Transition{}, false
	}
	if from == Normal {
		c.raise(at, site, tank)
	}
	t := Transition{
		ID: c.ID, Time: at, Tank: tank, Alarm: c.Finding.Alarm, Probe: c.Finding.Probe, Priority: c.Priority,
		From: from, To: state, Onset: c.Finding.Onset, Summary: c.Finding.Summary, Evidence: c.Finding.Evidence,
	}
	if state == Normal {
		c.ID, c.Priority, c.Why = "", "", ""
	}
	if state != Shelved {
		c.Until = time.Time{}
	}
	return t, true
}

// raise begins an incident. Its id is derived, so that a replay and a restart give the same.
func (c *condition) raise(at time.Time, site, tank string) {
	if at.Equal(c.Raised) {
		c.Nth++
	} else {
		c.Nth = 0
	}
	c.Raised = at
	parts := []string{site, tank, string(c.Finding.Alarm), c.Finding.Probe, at.UTC().Format(time.RFC3339Nano)}
	if c.Nth > 0 {
		parts = append(parts, strconv.Itoa(c.Nth))
	}
	c.ID = derive(parts...)
}

// idLetters are the 32 letters of an id, safe in a URL and without a case to get wrong.
var idLetters = base32.StdEncoding.WithPadding(base32.NoPadding)

// derive makes an id of 16 letters from the parts: 80 bits, beyond any chance of two alike in one cellar.
func derive(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return strings.ToLower(idLetters.EncodeToString(sum[:10]))
}

// incident is the condition as people see it.
func (c *condition) incident(tank string) Incident {
	return Incident{
		ID: c.ID, Tank: tank, Alarm: c.Finding.Alarm, Probe: c.Finding.Probe, Priority: c.Priority,
		State: c.Standing.State(), Onset: c.Finding.Onset, Since: c.Raised, Summary: c.Finding.Summary,
		Evidence: c.Finding.Evidence, Until: c.Until, Why: c.Why,
	}
}
