package journal

import (
	"encoding/json"
	"time"

	"spile/detect"
)

// Entry is one line of the journal, in the order it was written. Exactly one
// of Reading, Event, Act and Mark is set.
type Entry struct {
	Seq     int64 // its place; given by Commit, growing by one over all kinds
	Arrived time.Time
	Reading *detect.Reading
	Event   *detect.Event
	Act     *Act
	Mark    *Mark
}

// Act is what a person did to an alarm.
type Act struct {
	Verb     string // acknowledge, shelve, unshelve
	Incident string
	By       string
	Why      string
	Until    time.Time // end of a shelving
}

// Mark is what happened to spile itself, kept so that a restart and a replay
// judge the same.
type Mark struct {
	Name   string // started, link-lost, link-found, webhook-failing, webhook-works
	Detail string
}

// Outcome is what became of an entry.
type Outcome string

// The outcomes of an entry. Refused ones never reach the journal.
const (
	Accepted Outcome = "accepted"
	Repeat   Outcome = "repeat"   // the same again: kept once
	Conflict Outcome = "conflict" // another value for the same identity: the first stays
	Late     Outcome = "late"     // kept in its own time, not judged
	Refused  Outcome = "refused"
)

// Transition is one step of an incident, as the judge commits it.
type Transition struct {
	Incident string
	Tank     string
	Alarm    string
	Probe    string
	Priority string
	From     string
	To       string
	Time     time.Time
	Onset    time.Time
	Summary  string
	Evidence json.RawMessage
	By       string
	Why      string
	Until    time.Time // end of a shelving
}

// Message is one row of the outbox: a notification that waits until its
// webhook has taken it.
type Message struct {
	ID       string // the webhook-id, the same over retries for ever
	Webhook  string
	Incident string
	Created  time.Time
	Body     json.RawMessage // the alarm object; the webhook's template makes the body sent
	Attempts int
	Next     time.Time // not before
	Problem  string    // what came back last
}
