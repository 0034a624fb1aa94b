package alert

import (
	"encoding/json"
	"fmt"
	"time"

	"spile/detect"
)

// Message is what a webhook carries by default: the transition's object, and where a person acknowledges.
type Message struct {
	Transition
	Acknowledge string `json:"acknowledge,omitempty"` // a page whose button acknowledges; only where an answer is open
	Test        bool   `json:"test,omitempty"`        // nothing is wrong: somebody tries the webhook
}

// NewMessage makes the message for a transition, with a link where there are links and an answer is open.
func NewMessage(t Transition, links *Links) Message {
	m := Message{Transition: t}
	if t.To == Unacknowledged || t.To == Returned {
		m.Acknowledge = links.Acknowledge(t.ID, t.Time)
	}
	return m
}

// JSON is the message as one object.
func (m Message) JSON() ([]byte, error) {
	body, err := json.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("message of %s %s: %w", m.Tank, m.Alarm, err)
	}
	return body, nil
}

// TestMessage is a call that calls nobody: marked as a test in every form that it can take.
func TestMessage(at time.Time) Message {
	m := NewMessage(Transition{
		ID: derive("test", at.UTC().Format(time.RFC3339Nano)), Time: at.UTC(), Tank: "TEST", Alarm: detect.CrashDrift,
		Priority: detect.High, From: Normal, To: Unacknowledged, Onset: at.UTC(),
		Summary: "TEST: a test message from spile, no beer is off its setpoint", Why: "test",
	}, nil)
	m.Test = true
	return m
}
