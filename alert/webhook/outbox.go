package webhook

import (
	"context"
	"encoding/json"
	"time"
)

// Outbox is where messages wait. It outlives the process.
type Outbox interface {
	// Pending returns the messages of a webhook that are neither delivered nor dead, the oldest first.
	Pending(ctx context.Context, webhook string, limit int) ([]Message, error)
	// Settle notes how an attempt went.
	Settle(ctx context.Context, id string, a Attempt) error
}

// Message is one notification that waits for its webhook.
type Message struct {
	ID       string // the webhook-id, the same over all attempts
	Incident string
	Created  time.Time
	Body     json.RawMessage // an alert.Message as JSON
	Attempts int             // made so far
	Next     time.Time       // not before
}

// Attempt is how one try went.
type Attempt struct {
	At      time.Time
	Result  Result
	Next    time.Time // of the next try, where Result is Retry
	Problem string    // what came back, in words without address or secret
}

// Result is the outcome of an attempt.
type Result string

// The outcomes of an attempt.
const (
	Delivered Result = "delivered"
	Retry     Result = "retry"
	Dead      Result = "dead" // the webhook answered that it wants no more; never tried again
)

// results lists the outcomes, for metrics that exist from the start.
func results() []Result { return []Result{Delivered, Retry, Dead} }

// pick chooses the message to try now: of each incident only the oldest may go; of those that are due, the one tried
// least, then the oldest, so that a new alarm need not wait behind many that fail. Without one that is due it tells how
// long until there is, zero meaning that nothing waits.
func pick(pending []Message, now time.Time) (chosen *Message, wait time.Duration) {
	seen := map[string]bool{}
	for i := range pending {
		m := &pending[i]
		if seen[m.Incident] {
			continue
		}
		seen[m.Incident] = true
		if until := m.Next.Sub(now); until > 0 {
			if wait == 0 || until < wait {
				wait = until
			}
			continue
		}
		if chosen == nil || m.Attempts < chosen.Attempts {
			chosen = m
		}
	}
	return chosen, wait
}
