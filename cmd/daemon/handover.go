package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"time"

	"spile/alert"
	"spile/ingest/journal"
)

// How many messages are handed over at most, of those delivered and of those not.
const (
	toldKept    = 200
	waitingKept = 500
)

// handover is what one spile hands to the other.
type handover struct {
	Watch   alert.Handover  `json:"watch"`
	Waiting []handedMessage `json:"waiting,omitempty"`
	Told    []string        `json:"told,omitempty"`
}

// handedMessage is one that was not delivered yet. It goes without its link:
// each spile has its own, and whoever hears the broker must not answer by it.
type handedMessage struct {
	ID       string          `json:"id"`
	Webhook  string          `json:"webhook"`
	Incident string          `json:"incident"`
	Created  time.Time       `json:"created"`
	Body     json.RawMessage `json:"body"`
}

// handover gives what the other needs to go on.
func (d *Daemon) handover(ctx context.Context) ([]byte, error) {
	rows, err := d.journal.Waiting(ctx, waitingKept)
	if err != nil {
		return nil, err
	}
	h := handover{}
	if h.Told, err = d.journal.Told(ctx, toldKept); err != nil {
		return nil, err
	}
	for _, row := range rows {
		h.Waiting = append(h.Waiting, handedMessage{row.ID, row.Webhook, row.Incident, row.Created, unlinked(row.Body)})
	}
	return d.judge.handover(h)
}

// handover adds what the watch knows, and writes it while nothing changes it.
func (j *judge) handover(h handover) ([]byte, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	h.Watch = j.watch.Handover()
	return json.Marshal(h)
}

// linkField is the field of a message that lets its holder answer.
const linkField = "acknowledge"

func unlinked(body json.RawMessage) json.RawMessage {
	var fields map[string]json.RawMessage
	if json.Unmarshal(body, &fields) != nil {
		return body
	}
	delete(fields, linkField)
	out, err := json.Marshal(fields)
	if err != nil {
		return body
	}
	return out
}

// relinked is another's message with this one's link.
func relinked(body json.RawMessage, links *alert.Links) json.RawMessage {
	var m alert.Message
	if json.Unmarshal(body, &m) != nil || !m.Answerable() {
		return body
	}
	out, err := m.Linked(links).JSON()
	if err != nil {
		return body
	}
	return out
}

// adopter takes what the other has handed over: into the journal as a mark,
// where it is judged like all else, then into the outbox.
func (d *Daemon) adopter() func(ctx context.Context, body []byte, whole bool) {
	var before []byte
	return func(ctx context.Context, body []byte, whole bool) {
		var h handover
		err := json.Unmarshal(body, &h)
		if err == nil && whole {
			var watch []byte
			if watch, err = json.Marshal(h.Watch); err == nil && !bytes.Equal(watch, before) {
				err = d.keep(ctx, journal.Entry{Mark: &journal.Mark{Name: markAdopted, Detail: string(watch)}})
				before = watch
			}
		}
		if err == nil {
			err = d.takeOver(ctx, h, whole)
		}
		if err != nil && ctx.Err() == nil {
			d.options.Log.Error("what the other spile handed over was not taken", "error", err)
			before = nil
		}
	}
}

// takeOver brings the outbox to what the other knows.
func (d *Daemon) takeOver(ctx context.Context, h handover, whole bool) error {
	known := journal.Handover{Told: h.Told, At: d.options.Clock()}
	if whole {
		known.Renamed = alert.Renamed
		for _, a := range h.Watch.Alarms {
			known.Theirs = append(known.Theirs, a.ID)
		}
		for _, m := range h.Waiting {
			known.Waiting = append(known.Waiting, journal.Message{
				ID: m.ID, Webhook: m.Webhook, Incident: m.Incident, Created: m.Created, Body: relinked(m.Body, d.judge.links),
			})
		}
	}
	return d.journal.TakeOver(ctx, known)
}

// adopt judges what the other spile handed over.
func (j *judge) adopt(e journal.Entry) []alert.Transition {
	var h alert.Handover
	if err := json.Unmarshal([]byte(e.Mark.Detail), &h); err != nil {
		j.log.Error("what was handed over cannot be read", "entry", e.Seq, "error", err)
		return nil
	}
	return j.watch.Adopt(h, e.Arrived)
}
