package webhook

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"time"
)

// Outbox is where messages wait. It outlives the process.
type Outbox interface {
	// Queues returns what waits for a webhook: a queue for each incident, the one with the oldest message first.
	Queues(ctx context.Context, webhook string) ([]Queue, error)
	// Settle notes how an attempt went. A message that is delivered is never given again.
	Settle(ctx context.Context, id string, a Attempt) error
}

// Queue is what waits for a webhook about one incident.
type Queue struct {
	Message     // the oldest, the only one that may go
	Waiting int // messages, this one included
}

// Message is one notification that waits for its webhook.
type Message struct {
	ID       string // the webhook-id, the same over all attempts
	Incident string
	Created  time.Time
	Body     json.RawMessage // an alert.Message as JSON
	Attempts int             // made so far
	Next     time.Time       // not before
	Own      bool            // of this machine's own trouble: it goes through a closed gate
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
	Dead      Result = "dead" // the webhook wants no more messages; this one waits for a better address
)

// results lists the outcomes, for metrics that exist from the start.
func results() []Result { return []Result{Delivered, Retry, Dead} }

// How many messages of one webhook are under way at once. Tries that follow a failure may take up half the room, so
// that a new alarm does not wait behind others that hang.
const (
	abreast      = 8
	retryAbreast = 4
)

// underWay are the incidents of which a message is being sent, and whether it is one that failed before.
type underWay map[string]bool

// pick chooses the messages to send now: of queues of which none is under way and that are due, those tried least
// first, as far as there is room. Where something is left it tells how long until the first of it is due, zero where
// nothing is or only room is wanting.
func pick(queues []Queue, busy underWay, now time.Time) (chosen []Message, wait time.Duration) {
	retries := 0
	for _, isRetry := range busy {
		if isRetry {
			retries++
		}
	}
	room := abreast - len(busy)
	for _, q := range slices.SortedStableFunc(slices.Values(queues), func(a, b Queue) int { return cmp.Compare(a.Attempts, b.Attempts) }) {
		until := q.Next.Sub(now)
		if until > longestAskedFor {
			until = 0 // no pause is as long: the clock was set back since the last try
		}
		_, isBusy := busy[q.Incident]
		switch {
		case isBusy:
		case until > 0:
			if wait == 0 || until < wait {
				wait = until
			}
		case room > 0 && (q.Attempts == 0 || retries < retryAbreast):
			chosen = append(chosen, q.Message)
			room--
			if q.Attempts > 0 {
				retries++
			}
		}
	}
	return chosen, wait
}
