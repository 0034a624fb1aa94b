package daemon

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/alert/webhook"
	"spile/detect"
	"spile/ingest/journal"
)

func phone() alert.Options {
	return alert.Options{Site: "north", Policy: alert.Policy{
		Webhooks: []alert.Webhook{{Name: "phone", Priority: detect.High, Repeat: 15 * time.Minute}},
	}}
}

// What is told from memory and what the journal's judge makes of the same mark, hours later, are the same messages.
func TestWhatIsToldFromMemoryIsNotToldAgainFromTheJournal(t *testing.T) {
	at := time.Date(2026, 3, 2, 2, 0, 0, 123e6, time.UTC)
	woken := 0
	e := newEmergency(phone(), nil, func() { woken++ }, func(err error) { t.Error(err) })
	e.begin(at, "the disk is full")
	e.begin(at.Add(time.Second), "the disk is full")
	e.tick(at.Add(20 * time.Minute))
	e.tick(at.Add(20 * time.Minute))
	require.Equal(t, 2, woken, "a call, and one that repeats it")
	assert.Empty(t, e.queues("another"))

	kept, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, kept.Close()) }()
	box := outbox{kept, e, func() {}}
	queues, err := box.Queues(t.Context(), "phone")
	require.NoError(t, err)
	require.Len(t, queues, 1)
	assert.Equal(t, 2, queues[0].Waiting)
	first := queues[0].ID
	require.NoError(t, box.Settle(t.Context(), first, webhook.Attempt{At: at, Result: webhook.Retry, Next: at.Add(time.Minute)}))
	require.NoError(t, box.Settle(t.Context(), first, webhook.Attempt{At: at.Add(time.Minute), Result: webhook.Delivered}))
	queues, err = box.Queues(t.Context(), "phone")
	require.NoError(t, err)
	require.Len(t, queues, 1)
	second := queues[0].ID
	require.NotEqual(t, first, second)
	e.end()

	// The judge's watch has seen much before.
	watch := alert.NewWatch(phone())
	watch.Take(detect.Reading{Tank: "FV1", Probe: "p", Quantity: detect.Pressure, Value: 80, Raw: 80, Time: at.Add(-time.Hour), Arrived: at.Add(-time.Hour)})
	watch.WebhookFails(at.Add(-50*time.Minute), "phone", "503")
	watch.Fails(at, alert.JournalStopped, "the disk is full")
	watch.Advance(at.Add(20 * time.Minute))
	judged(t, kept, at.Add(20*time.Minute), watch.Notices())

	queues, err = box.Queues(t.Context(), "phone")
	require.NoError(t, err)
	require.Len(t, queues, 1)
	assert.Equal(t, second, queues[0].ID, "the first went out, the second did not")
	assert.Equal(t, 1, queues[0].Waiting)
}

// judged brings notices into the outbox of a journal.
func judged(t *testing.T, kept *journal.Journal, at time.Time, notices []alert.Notice) {
	t.Helper()
	rows, err := messageRows(notices, nil)
	require.NoError(t, err)
	_, err = kept.Commit(context.Background(), []journal.Entry{{Arrived: at, Mark: &journal.Mark{Name: markGoes}}})
	require.NoError(t, err)
	require.NoError(t, kept.Judge(t.Context(), journal.Judgement{Through: 1, At: at, Messages: rows}))
}
