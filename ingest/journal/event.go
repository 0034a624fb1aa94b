package journal

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"spile/detect"
)

// eventBody is the column events.body.
type eventBody struct {
	ID      string             `json:"id,omitempty"`
	By      string             `json:"by,omitempty"`
	Amounts map[string]float64 `json:"amounts,omitempty"`
	Words   map[string]string  `json:"words,omitempty"`
}

// identity is what makes an event the same event.
func identity(e detect.Event) (string, error) {
	if e.ID != "" {
		return "id " + e.ID, nil
	}
	return content(e)
}

// content digests what an event says: everything but who logged it and when it
// was heard.
func content(e detect.Event) (string, error) {
	at := millis(e.Time)
	if e.ID != "" && e.Time.Equal(e.Arrived) {
		at = 0 // it happened when it was heard: sent again under its id, it is the same line
	}
	text, err := json.Marshal(struct {
		Tank    string
		Name    string
		Time    int64
		Amounts map[string]float64 `json:",omitempty"`
		Words   map[string]string  `json:",omitempty"`
	}{e.Tank, e.Name, at, e.Amounts, e.Words}) // maps come out sorted
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(text)
	return "sum " + hex.EncodeToString(sum[:]), nil
}

func (b *batch) addEvent(ctx context.Context, e detect.Event, arrived time.Time) (Outcome, error) {
	id, err := identity(e)
	if err != nil {
		return "", err
	}
	first, err := storedEvent(ctx, b.tx, id)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Accepted, b.insertEvent(ctx, id, e, arrived)
	case err != nil:
		return "", err
	}
	was, err := content(first)
	if err != nil {
		return "", err
	}
	if is, err := content(e); err != nil || is != was {
		return Conflict, err
	}
	return Repeat, nil
}

func (b *batch) insertEvent(ctx context.Context, id string, e detect.Event, arrived time.Time) error {
	body, err := json.Marshal(eventBody{ID: e.ID, By: e.By, Amounts: e.Amounts, Words: e.Words})
	if err != nil {
		return err
	}
	_, err = b.tx.ExecContext(ctx, "INSERT INTO events (seq, identity, tank, name, time, arrived, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
		b.next(), id, e.Tank, e.Name, millis(e.Time), millis(arrived), string(body))
	return err
}

const eventColumns = "seq, tank, name, time, arrived, body"

func storedEvent(ctx context.Context, q queryer, identity string) (detect.Event, error) {
	row := q.QueryRowContext(ctx, "SELECT "+eventColumns+" FROM events WHERE identity = ?", identity)
	_, e, err := scanEvent(row)
	return e, err
}

// scanner is a *sql.Row or *sql.Rows.
type scanner interface{ Scan(into ...any) error }

func scanEvent(row scanner) (seq int64, e detect.Event, err error) {
	var at, arrived int64
	var body []byte
	if err := row.Scan(&seq, &e.Tank, &e.Name, &at, &arrived, &body); err != nil {
		return 0, e, err
	}
	var b eventBody
	if err := json.Unmarshal(body, &b); err != nil {
		return seq, e, fmt.Errorf("%w: event %d: %w", ErrDamaged, seq, err)
	}
	e.ID, e.By, e.Amounts, e.Words = b.ID, b.By, b.Amounts, b.Words
	e.Time, e.Arrived = moment(at), moment(arrived)
	return seq, e, nil
}

// Events gives the log events of a filter, the oldest by their own time first.
// Its Probe and Quantity do not apply.
func (j *Journal) Events(ctx context.Context, f Filter) ([]detect.Event, error) {
	var w where
	w.equal("tank", f.Tank)
	w.between("time", f.From, f.To)
	rows, err := j.reader.QueryContext(ctx, "SELECT "+eventColumns+" FROM events"+w.clause()+" ORDER BY time, seq", w.args...)
	all, err := collect(rows, err, func(r *sql.Rows) (detect.Event, error) {
		_, e, err := scanEvent(r)
		return e, err
	})
	return all, explain("read log events", err)
}
