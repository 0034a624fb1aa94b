package daemon

import (
	"context"

	"spile/alert/webhook"
	"spile/ingest/journal"
)

// outbox lets the sender work from the journal's outbox rows.
type outbox struct{ journal *journal.Journal }

// Queues returns what waits for a webhook, a queue for each incident.
func (o outbox) Queues(ctx context.Context, name string) ([]webhook.Queue, error) {
	rows, err := o.journal.Queues(ctx, name)
	if err != nil {
		return nil, err
	}
	out := make([]webhook.Queue, 0, len(rows))
	for _, row := range rows {
		out = append(out, webhook.Queue{Waiting: row.Waiting, Message: webhook.Message{
			ID: row.ID, Incident: row.Incident, Created: row.Created, Body: row.Body, Attempts: row.Attempts, Next: row.Next,
		}})
	}
	return out, nil
}

// Settle notes how an attempt went.
func (o outbox) Settle(ctx context.Context, id string, a webhook.Attempt) error {
	return o.journal.Settle(ctx, id, journal.Attempt{
		At: a.At, Result: journal.Result(a.Result), Next: a.Next, Problem: a.Problem,
	})
}
