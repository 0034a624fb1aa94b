package daemon

import (
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/ingest/journal"
)

func TestWhatAnActIsAnsweredIsForWhoAsked(t *testing.T) {
	kept, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, kept.Close()) }()
	now := time.Date(2026, 3, 1, 3, 0, 0, 0, time.UTC)
	act := []journal.Entry{{Arrived: now, Act: &journal.Act{Verb: verbAcknowledge, Incident: "nobody-knows-it", By: "cellar"}}}
	_, err = kept.Commit(t.Context(), act)
	require.NoError(t, err)
	j := &judge{
		journal: kept, horizon: func() time.Time { return now }, log: slog.New(slog.DiscardHandler),
		watch: alert.NewWatch(alert.Options{}), answers: map[int64]error{}, progress: make(chan struct{}),
	}

	require.NoError(t, j.round(t.Context()))
	require.NoError(t, j.reach(t.Context(), act[0].Seq), "an answer is not waited for")
	assert.Error(t, j.await(t.Context(), act[0].Seq))
	assert.Equal(t, now, j.moment())
}
