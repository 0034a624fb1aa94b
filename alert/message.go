package alert

import (
	"encoding/json"
	"fmt"
	"net/url"
	"time"

	"spile/detect"
)

// Message is what a webhook carries by default: the transition's object, and where a person acknowledges.
type Message struct {
	Transition
	Acknowledge string `json:"acknowledge,omitempty"` // a page whose button acknowledges; only where an answer is open
	Test        bool   `json:"test,omitempty"`        // nothing is wrong: somebody tries the webhook
}

// NewMessage makes the message for a transition. Without a public address there is no link: one that points at the
// cellar's own machine cannot be opened from bed.
func NewMessage(t Transition, public *url.URL) Message {
	m := Message{Transition: t}
	if public != nil && (t.To == Unacknowledged || t.To == Returned) {
		m.Acknowledge = public.JoinPath("alarms", t.ID).String()
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
func TestMessage(at time.Time, public *url.URL) Message {
	m := NewMessage(Transition{
		ID: derive("test", at.UTC().Format(time.RFC3339Nano)), Time: at.UTC(), Tank: "TEST", Alarm: detect.CrashDrift,
		Priority: detect.High, From: Normal, To: Unacknowledged, Onset: at.UTC(),
		Summary: "TEST: a test message from spile, no beer is off its setpoint", Why: "test",
	}, public)
	m.Acknowledge, m.Test = "", true
	return m
}
