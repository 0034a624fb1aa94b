package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// Result is what came of an attempt to deliver a message.
type Result string

// The results of an attempt.
const (
	Delivered Result = "delivered" // its webhook has taken it
	Retry     Result = "retry"     // it waits for another attempt
	Dead      Result = "dead"      // its webhook wants no more messages; it waits for another address
)

// pending is the state of a message that is not settled.
const pending = "pending"

// Attempt is one try to deliver a message.
type Attempt struct {
	At      time.Time
	Result  Result
	Next    time.Time // of Retry: not before
	Problem string
}

func putMessage(ctx context.Context, tx *sql.Tx, m Message) error {
	if !json.Valid(m.Body) {
		return fmt.Errorf("the body of message %s is no JSON: %.60q", m.ID, m.Body)
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO outbox (id, webhook, incident, created, body, state, attempts, next, problem)
		VALUES (?, ?, ?, ?, ?, 'pending', 0, ?, '') ON CONFLICT (id) DO NOTHING`,
		m.ID, m.Webhook, m.Incident, millis(m.Created), string(m.Body), maybeMillis(m.Next))
	return err
}

// Post brings messages into the outbox that are to go out before they are
// judged. One whose ID the outbox has is not written again, here or by Judge.
func (j *Journal) Post(ctx context.Context, messages []Message) error {
	return j.write(ctx, "post messages", func(tx *sql.Tx) error {
		for _, m := range messages {
			if err := putMessage(ctx, tx, m); err != nil {
				return err
			}
		}
		return nil
	})
}

// Queue is what waits for one webhook about one incident.
type Queue struct {
	Message     // the oldest, the only one that may go
	Waiting int // messages, this one included
}

// Queues gives the queues of a webhook in which something waits, the one whose
// oldest message is the oldest first.
func (j *Journal) Queues(ctx context.Context, webhook string) ([]Queue, error) {
	rows, err := j.reader.QueryContext(ctx, `SELECT id, webhook, incident, created, body, attempts, next, problem, waiting
		FROM outbox JOIN (SELECT min(place) AS place, count(*) AS waiting
			FROM outbox WHERE webhook = ? AND state = 'pending' GROUP BY incident) USING (place)
		ORDER BY place`, webhook)
	all, err := collect(rows, err, func(r *sql.Rows) (q Queue, err error) {
		var created int64
		var next sql.NullInt64
		err = r.Scan(&q.ID, &q.Webhook, &q.Incident, &created, (*[]byte)(&q.Body), &q.Attempts, &next, &q.Problem, &q.Waiting)
		q.Created, q.Next = moment(created), maybeMoment(next)
		return q, err
	})
	return all, explain("read the queues of "+webhook, err)
}

// Settle notes an attempt. After Delivered the message is settled for ever:
// another attempt is ErrSettled. After Retry and Dead it keeps its place.
func (j *Journal) Settle(ctx context.Context, id string, a Attempt) error {
	return j.write(ctx, "settle message "+id, func(tx *sql.Tx) error { return settle(ctx, tx, id, a) })
}

func settle(ctx context.Context, tx *sql.Tx, id string, a Attempt) error {
	var state string
	var attempts int
	err := tx.QueryRowContext(ctx, "SELECT state, attempts FROM outbox WHERE id = ?", id).Scan(&state, &attempts)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return ErrUnknown
	case err != nil:
		return err
	case state != pending:
		return fmt.Errorf("%w: %s", ErrSettled, state)
	}
	switch a.Result {
	case Retry, Dead:
	case Delivered:
		state, a.Next = string(a.Result), time.Time{}
	default:
		return fmt.Errorf("an attempt has no result %q: it is delivered, retry or dead", a.Result)
	}
	_, err = tx.ExecContext(ctx, "INSERT INTO attempts (message, number, at, result, problem) VALUES (?, ?, ?, ?, ?)",
		id, attempts+1, millis(a.At), string(a.Result), a.Problem)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "UPDATE outbox SET state = ?, attempts = ?, next = ?, problem = ? WHERE id = ?",
		state, attempts+1, maybeMillis(a.Next), a.Problem, id)
	return err
}
