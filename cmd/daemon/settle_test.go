package daemon

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/alert/webhook"
	"spile/detect"
	"spile/ingest/journal"
)

// A message is under way while the other spile says that it has told it. Were that an error, the sender would settle it
// for ever, and never tell what follows of this incident.
func TestAMessageThatTheOtherSpileHasToldMeanwhileIsSettled(t *testing.T) {
	at := time.Date(2026, 3, 2, 2, 0, 0, 0, time.UTC)
	kept, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, kept.Close()) }()
	box := outbox{kept, newEmergency(phone(), nil, func() {}, func(err error) { t.Error(err) }), func() {}}
	for _, result := range []webhook.Result{webhook.Delivered, webhook.Retry, webhook.Dead} {
		id := "m-" + string(result)
		require.NoError(t, kept.Post(t.Context(), []journal.Message{{ID: id, Webhook: "phone", Incident: "i1", Created: at, Body: []byte(`{}`)}}))
		require.NoError(t, kept.TakeOver(t.Context(), journal.Handover{Told: []string{id}, At: at}))
		require.NoError(t, box.Settle(t.Context(), id, webhook.Attempt{At: at, Result: result, Next: at.Add(time.Minute)}), result)
		told, err := kept.Told(t.Context(), 10)
		require.NoError(t, err)
		assert.Contains(t, told, id)
	}
}

// The journal may work again while a message from memory is under way: before the judge has made the same one, or where
// it makes none, since many alarms went into one message.
func TestAMessageFromMemoryMayOutlastTheTrouble(t *testing.T) {
	at := time.Date(2026, 3, 2, 2, 0, 0, 0, time.UTC)
	kept, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, kept.Close()) }()
	e := newEmergency(phone(), nil, func() {}, func(err error) { t.Error(err) })
	box := outbox{kept, e, func() {}}
	e.begin(at, "the disk is full")
	queues, err := box.Queues(t.Context(), "phone")
	require.NoError(t, err)
	require.Len(t, queues, 1)
	e.end()
	require.NoError(t, box.Settle(t.Context(), queues[0].ID, webhook.Attempt{At: at, Result: webhook.Delivered}))

	watch := alert.NewWatch(phone())
	watch.Take(detect.Reading{Tank: "FV1", Probe: "p", Quantity: detect.Pressure, Value: 80, Raw: 80, Time: at.Add(-time.Hour), Arrived: at.Add(-time.Hour)})
	watch.Fails(at, alert.JournalStopped, "the disk is full")
	judged(t, kept, at, watch.Notices())
	queues, err = box.Queues(t.Context(), "phone")
	require.NoError(t, err)
	assert.Empty(t, queues, "it went out")
}
