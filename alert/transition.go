package alert

import (
	"time"

	"spile/detect"
)

// State is the state of an alarm in the words of ANSI/ISA-18.2.
type State string

// The states of an alarm.
const (
	Normal         State = "normal"
	Unacknowledged State = "unacknowledged"
	Acknowledged   State = "acknowledged"
	Returned       State = "returned" // to normal, unacknowledged
	Shelved        State = "shelved"
	Suppressed     State = "suppressed" // by design
	OutOfService   State = "out-of-service"
)

// Transition is one step of one incident: the object that a replay prints,
// that a webhook carries and that the journal keeps.
type Transition struct {
	ID       string          `json:"id"` // of the incident, the same in all its steps
	Time     time.Time       `json:"time"`
	Tank     string          `json:"tank"`
	Alarm    detect.Alarm    `json:"alarm"`
	Probe    string          `json:"probe,omitempty"`
	Priority detect.Priority `json:"priority"`
	From     State           `json:"from"`
	To       State           `json:"to"`
	Onset    time.Time       `json:"onset,omitzero"`
	Summary  string          `json:"summary"`
	Evidence detect.Evidence `json:"evidence"`
	By       string          `json:"by,omitempty"`   // who, where a person did it
	Why      string          `json:"why,omitempty"`  // why, where it was not the condition itself
	Until    time.Time       `json:"until,omitzero"` // end of a shelving
}

// Incident is an alarm as it stands.
type Incident struct {
	ID       string          `json:"id"`
	Tank     string          `json:"tank"`
	Alarm    detect.Alarm    `json:"alarm"`
	Probe    string          `json:"probe,omitempty"`
	Priority detect.Priority `json:"priority"`
	State    State           `json:"state"`
	Onset    time.Time       `json:"onset,omitzero"`
	Since    time.Time       `json:"since"` // when it was raised
	Summary  string          `json:"summary"`
	Evidence detect.Evidence `json:"evidence"`
	Until    time.Time       `json:"until,omitzero"` // end of a shelving
	Why      string          `json:"why,omitempty"`  // what keeps it quiet
	Now      *Now            `json:"now,omitempty"`  // how its figures stand; nil where it is over, or about none
}

// transition is an incident as a transition that leads nowhere, for the words.
func (i Incident) transition() Transition {
	return Transition{
		ID: i.ID, Time: i.Since, Tank: i.Tank, Alarm: i.Alarm, Probe: i.Probe, Priority: i.Priority, From: i.State, To: i.State,
		Onset: i.Onset, Summary: i.Summary, Evidence: i.Evidence, Why: i.Why, Until: i.Until,
	}
}
