package daemon

import (
	"context"

	"spile/alert/webhook"
	"spile/ingest/journal"
)

// outbox lets the sender work from the journal's outbox rows.
type outbox struct{ journal *journal.Journal }

// Pending returns what waits for a webhook, the oldest first.
func (o outbox) Pending(ctx context.Context, name string, limit int) ([]webhook.Message, error) {
	rows, err := o.journal.Pending(ctx, name, limit)
	if err != nil {
		return nil, err
	}
	out := make([]webhook.Message, 0, len(rows))
	for _, row := range rows {
		out = append(out, webhook.Message{
			ID: row.ID, Incident: row.Incident, Created: row.Created, Body: row.Body, Attempts: row.Attempts, Next: row.Next,
		})
	}
	return out, nil
}

// Settle notes how an attempt went.
func (o outbox) Settle(ctx context.Context, id string, a webhook.Attempt) error {
	return o.journal.Settle(ctx, id, journal.Attempt{
		At: a.At, Result: journal.Result(a.Result), Next: a.Next, Problem: a.Problem,
	})
}
