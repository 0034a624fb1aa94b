package alert

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"

	"spile/detect"
)

// Kind tells apart what a message is about.
type Kind string

// The kinds of messages. All but an alarm are of low priority or of none: nobody has to answer them.
const (
	KindAlarm    Kind = ""         // a step of an incident
	KindFlood    Kind = "flood"    // many alarms at once, in one message that names them
	KindReport   Kind = "report"   // the morning report
	KindNotice   Kind = "notice"   // what somebody asked to be told of, once
	KindQuestion Kind = "question" // what was done while there were hands on a tank
)

// Message is what a webhook carries by default: for an alarm the transition's object, and where a person acknowledges.
type Message struct {
	Transition
	Kind        Kind      `json:"kind,omitempty"`
	Told        time.Time `json:"told,omitzero"`         // when it was made, where the step is older
	Repeat      int       `json:"repeat,omitempty"`      // how many calls went before that nobody answered
	Unanswered  string    `json:"unanswered,omitempty"`  // the webhook that was called before, in vain
	Lines       []string  `json:"lines,omitempty"`       // what stands below the summary; not of an alarm
	Alarms      []Named   `json:"alarms,omitempty"`      // of a flood
	Answers     []string  `json:"answers,omitempty"`     // to a question: events of the cellar log, the likeliest first
	LookFirst   string    `json:"look_first,omitempty"`  // what a person looks at first, where one is called
	Caution     string    `json:"caution,omitempty"`     // where somebody can be hurt
	Acknowledge string    `json:"acknowledge,omitempty"` // a page whose button acknowledges; only where an answer is open
	Picture     string    `json:"picture,omitempty"`     // the tank's curves up to then, as PNG; where there are links
	Test        bool      `json:"test,omitempty"`        // nothing is wrong: somebody tries the webhook
}

// Named is one alarm in a message that names many.
type Named struct {
	ID       string          `json:"id"`
	Tank     string          `json:"tank"`
	Alarm    detect.Alarm    `json:"alarm"`
	Probe    string          `json:"probe,omitempty"`
	Priority detect.Priority `json:"priority"`
	To       State           `json:"to"`
	Summary  string          `json:"summary"`
}

// NewMessage makes the message for a transition, with a link where there are links and an answer is open.
func NewMessage(t Transition, links *Links) Message {
	return Message{Transition: t}.advised().Linked(links)
}

// advised is the message with what a person looks at first and the caution, where one is called.
func (m Message) advised() Message {
	if d, ok := Define(m.Alarm); ok && m.To == Unacknowledged {
		m.LookFirst, m.Caution = lookFirst(m.Transition), d.Caution
	}
	return m
}

// Linked is the message with a link to acknowledge by, and one to a picture, where there are links and an answer is open.
func (m Message) Linked(links *Links) Message {
	if m.Answerable() {
		m.Acknowledge = links.Acknowledge(m.ID, m.at())
		if !missesTheAir(m.Transition) { // a tank's curves show nothing of it
			m.Picture = links.Picture(m.Tank, m.at())
		}
	}
	return m
}

// Answerable tells whether a person's acknowledgement is still open.
func (m Message) Answerable() bool {
	return m.Kind == KindAlarm && (m.To == Unacknowledged || m.To == Returned)
}

// bulletin is the object of a message that is of no incident: the fields that mean something there.
type bulletin struct {
	ID       string          `json:"id"`
	Kind     Kind            `json:"kind"`
	Time     time.Time       `json:"time"`
	Told     time.Time       `json:"told,omitzero"`
	Tank     string          `json:"tank,omitempty"`
	Priority detect.Priority `json:"priority"`
	Summary  string          `json:"summary"`
	Lines    []string        `json:"lines,omitempty"`
	Alarms   []Named         `json:"alarms,omitempty"`
	Answers  []string        `json:"answers,omitempty"`
}

// JSON is the message as one object.
func (m Message) JSON() ([]byte, error) {
	var object any = m.advised()
	if m.Kind != KindAlarm {
		object = bulletin{
			ID: m.ID, Kind: m.Kind, Time: m.Time, Told: m.Told, Tank: m.Tank, Priority: m.Priority, Summary: m.Summary,
			Lines: m.Lines, Alarms: m.Alarms, Answers: m.Answers,
		}
	}
	body, err := json.Marshal(object)
	if err != nil {
		return nil, fmt.Errorf("message of %s %s: %w", m.Tank, m.Alarm, err)
	}
	return body, nil
}

// at is the moment from which the message speaks.
func (m Message) at() time.Time { return detect.Later(m.Time, m.Told) }

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

// Notice is one message to one webhook. Its ID is derived from what it says, so that judging the same again after a
// crash gives the same message and no second one.
type Notice struct {
	Webhook string
	ID      string
	Thread  string    // the incident; of a message without one its own ID, so that it waits behind nothing
	Time    time.Time // when it was made
	Message Message
}

// notice addresses a message about an incident, the nth to this webhook.
func notice(webhook string, m Message, at time.Time, nth int) Notice {
	if m.Time.Before(at) {
		m.Told = at
	}
	id := messageID(webhook, m.ID, at, strconv.Itoa(nth)) // an alarm can step many times at one instant
	return Notice{Webhook: webhook, ID: id, Thread: m.ID, Time: at, Message: m}
}

// bulletinTo addresses a message that is of no incident. The id in its body is the same for every webhook.
func bulletinTo(webhook string, m Message, at time.Time) Notice {
	if m.Time.Before(at) {
		m.Told = at
	}
	id := messageID(webhook, m.ID, m.Time, string(m.Kind))
	return Notice{Webhook: webhook, ID: id, Thread: id, Time: at, Message: m}
}

// messageID derives the webhook-id.
func messageID(webhook, about string, at time.Time, parts ...string) string {
	return "msg_" + derive(slices.Concat([]string{webhook, about, at.UTC().Format(time.RFC3339Nano)}, parts)...)
}

// newBulletin begins a message that is of no incident.
func newBulletin(kind Kind, at time.Time, p detect.Priority, about ...string) Message {
	id := derive(slices.Concat([]string{string(kind), at.UTC().Format(time.RFC3339Nano)}, about)...)
	return Message{Kind: kind, Transition: Transition{ID: id, Time: at.UTC(), Priority: p}}
}
