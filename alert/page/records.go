package page

import (
	"context"
	"errors"
	"time"

	"spile/alert"
	"spile/detect"
)

// The outcomes of WriteLog.
const (
	Accepted = "accepted"
	Repeat   = "repeat" // the same event again: kept once
)

// ErrLogConflict says that a line with the same id stands in the log already and says something else.
var ErrLogConflict = errors.New("a line with this id stands in the log already and says something else; leave the id out, or give another")

// Records is what spile keeps, as far as pages and the API need it.
type Records interface {
	// Readings calls each with every reading that passes the filter, oldest first, until each returns an error.
	Readings(ctx context.Context, f Filter, each func(detect.Reading) error) error
	// Traces returns each series that passes the filter, folded into steps of a length.
	Traces(ctx context.Context, f Filter, step time.Duration) ([]detect.Trace, error)
	// Log returns a tank's cellar log, oldest first.
	Log(ctx context.Context, tank string) ([]detect.Event, error)
	// WriteLog keeps an event and returns, once it is on disk, whether it was Accepted or a Repeat. One that is not kept
	// gives an error: ErrLogConflict, or why the disk cannot hold it.
	WriteLog(ctx context.Context, e detect.Event) (outcome string, err error)
	// Alarms returns the alarms that are not normal. The order does not matter.
	Alarms(ctx context.Context) ([]alert.Incident, error)
	// Past returns the newest of the others, so many of them, and whether there are older ones. They are in the order in
	// which they were raised, the newest first; with before, the id of an alarm, only those raised ahead of it count. It
	// is alert.ErrUnknownIncident where there is no such alarm.
	Past(ctx context.Context, before string, limit int) (past []alert.Incident, more bool, err error)
	// Alarm returns one alarm and its steps, oldest first, or alert.ErrUnknownIncident.
	Alarm(ctx context.Context, id string) (alert.Incident, []alert.Transition, error)
	// Steps returns the steps of all alarms from a moment (included) to another (excluded), oldest first.
	Steps(ctx context.Context, from, to time.Time) ([]alert.Transition, error)
	// Began returns when spile began to watch; zero: that is not known.
	Began(ctx context.Context) (time.Time, error)
	// Acknowledge, Shelve and Unshelve return the alarm as the act left it, or one of alert's
	// errors: ErrUnknownIncident, ErrNotNow, ErrShelving.
	Acknowledge(ctx context.Context, id, by, why string) (alert.Incident, error)
	Shelve(ctx context.Context, id, by, why string, until time.Time) (alert.Incident, error)
	Unshelve(ctx context.Context, id, by, why string) (alert.Incident, error)
	// Refusals returns the newest messages that could not be taken, the newest first.
	Refusals() []Refusal
}

// Filter chooses readings. An empty part chooses all.
type Filter struct {
	Tank     string
	Probe    string
	Quantity detect.Quantity
	From     time.Time // included
	To       time.Time // excluded
}

// Refusal is a message that could not be taken, and why.
type Refusal struct {
	Time    time.Time `json:"time"`
	Source  string    `json:"source"`
	Topic   string    `json:"topic"`
	Reason  string    `json:"reason"`
	Detail  string    `json:"detail"`
	Payload string    `json:"payload"` // its beginning, printable
}
