package daemon

import (
	"context"
	"errors"

	"spile/alert"
	"spile/alert/webhook"
	"spile/ingest/journal"
)

// outbox lets the sender work from the journal's outbox rows, and from what is
// told from memory while the journal takes nothing.
type outbox struct {
	journal *journal.Journal
	memory  *emergency
	told    func() // a message was delivered; it must not block
}

// Queues returns what waits for a webhook, a queue for each incident: first
// what is told from memory, then what lies in the journal.
func (o outbox) Queues(ctx context.Context, name string) ([]webhook.Queue, error) {
	own := o.memory.queues(name)
	kept, err := o.kept(ctx, name)
	if err != nil && len(own) > 0 {
		return own, nil // the journal can wait
	}
	return append(own, kept...), err
}

// kept are the queues of the journal. What went out from memory before it could
// be journalled is settled here, and what stood behind it comes to the front.
func (o outbox) kept(ctx context.Context, name string) ([]webhook.Queue, error) {
	for {
		rows, err := o.journal.Queues(ctx, name)
		if err != nil {
			return nil, err
		}
		settled := false
		out := make([]webhook.Queue, 0, len(rows))
		for _, row := range rows {
			if a, gone := o.memory.went(row.ID); gone {
				settled = true
				if err := o.settle(ctx, row.ID, a); err != nil {
					o.memory.remember(row.ID, a)
					return nil, err
				}
			}
			out = append(out, webhook.Queue{Waiting: row.Waiting, Message: webhook.Message{
				ID: row.ID, Incident: row.Incident, Created: row.Created, Body: row.Body, Attempts: row.Attempts, Next: row.Next,
				Own: alert.IsOwn(row.Body),
			}})
		}
		if !settled {
			return out, nil
		}
	}
}

// Settle notes how an attempt went.
func (o outbox) Settle(ctx context.Context, id string, a webhook.Attempt) error {
	if o.memory.settle(id, a) {
		return nil
	}
	if err := o.settle(ctx, id, a); err != nil {
		return err
	}
	if a.Result == webhook.Delivered {
		o.told()
	}
	return nil
}

// settle notes an attempt in the journal. That there is nothing to settle is no error, or the sender would try for ever
// and never tell what follows of the incident: the other spile may have told the message while it was under way here,
// and one from memory may be done before the judge has made the same.
func (o outbox) settle(ctx context.Context, id string, a webhook.Attempt) error {
	err := o.journal.Settle(ctx, id, journal.Attempt{
		At: a.At, Result: journal.Result(a.Result), Next: a.Next, Problem: a.Problem,
	})
	switch {
	case errors.Is(err, journal.ErrSettled):
		return nil
	case errors.Is(err, journal.ErrUnknown):
		o.memory.remember(id, a)
		return nil
	}
	return err
}
