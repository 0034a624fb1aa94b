package journal

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"time"
)

// Handover is what another spile of the same cellar knows of messages.
type Handover struct {
	Waiting []Message // not delivered there
	Told    []string  // ids of those that were
	Theirs  []string  // incidents that the other tells of
	At      time.Time
	Renamed string // how a transition explains that its incident goes on under another's id
}

// toldElsewhere stands as the problem of an attempt that another spile made.
const toldElsewhere = "told by the other spile"

// Waiting gives the oldest messages that are not settled, in the order of telling.
func (j *Journal) Waiting(ctx context.Context, most int) ([]Message, error) {
	rows, err := j.reader.QueryContext(ctx, `SELECT id, webhook, incident, created, body, attempts, next, problem
		FROM outbox WHERE state = 'pending' ORDER BY place LIMIT ?`, most)
	all, err := collect(rows, err, func(r *sql.Rows) (m Message, err error) {
		var created int64
		var next sql.NullInt64
		err = r.Scan(&m.ID, &m.Webhook, &m.Incident, &created, (*[]byte)(&m.Body), &m.Attempts, &next, &m.Problem)
		m.Created, m.Next = moment(created), maybeMoment(next)
		return m, err
	})
	return all, explain("read what waits", err)
}

// Told gives the ids of the newest messages that were delivered.
func (j *Journal) Told(ctx context.Context, most int) ([]string, error) {
	rows, err := j.reader.QueryContext(ctx, "SELECT id FROM outbox WHERE state = 'delivered' ORDER BY place DESC LIMIT ?", most)
	all, err := collect(rows, err, func(r *sql.Rows) (id string, err error) { return id, r.Scan(&id) })
	return all, explain("read what was told", err)
}

// TakeOver brings the outbox to what another spile knows: what waits there
// waits here too, what was told there is settled, and what waits here alone about
// an incident that is the other's to tell is not told.
func (j *Journal) TakeOver(ctx context.Context, h Handover) error {
	return j.write(ctx, "take over messages", func(tx *sql.Tx) error {
		for _, m := range h.Waiting {
			if err := takeIn(ctx, tx, m); err != nil {
				return err
			}
		}
		overtaken, err := overtaken(ctx, tx, h)
		if err != nil {
			return err
		}
		for _, id := range append(overtaken, h.Told...) {
			err := settle(ctx, tx, id, Attempt{At: h.At, Result: Delivered, Problem: toldElsewhere})
			if err != nil && !errors.Is(err, ErrUnknown) && !errors.Is(err, ErrSettled) {
				return err
			}
		}
		return nil
	})
}

// takeIn puts another's message into the outbox. One of an incident that is not
// known here waits behind nothing.
func takeIn(ctx context.Context, tx *sql.Tx, m Message) error {
	var known bool
	err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM transitions WHERE incident = ?)", m.Incident).Scan(&known)
	if err != nil {
		return err
	}
	if !known {
		m.Incident = m.ID
	}
	m.Next = time.Time{}
	return putMessage(ctx, tx, m)
}

// overtaken lists what waits here about incidents that the other tells of.
func overtaken(ctx context.Context, tx *sql.Tx, h Handover) ([]string, error) {
	if h.Renamed == "" {
		return nil, nil
	}
	type row struct{ id, incident string }
	rows, err := tx.QueryContext(ctx, `SELECT id, CASE WHEN incident IN (SELECT incident FROM transitions
			WHERE to_state = 'normal' AND substr(why, 1, length(?1)) = ?1) THEN '' ELSE incident END
		FROM outbox WHERE state = 'pending'`, h.Renamed)
	waiting, err := collect(rows, err, func(r *sql.Rows) (w row, err error) { return w, r.Scan(&w.id, &w.incident) })
	var out []string
	for _, w := range waiting {
		there := slices.ContainsFunc(h.Waiting, func(m Message) bool { return m.ID == w.id })
		if !there && (w.incident == "" || slices.Contains(h.Theirs, w.incident)) {
			out = append(out, w.id)
		}
	}
	return out, err
}
