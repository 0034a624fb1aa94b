package daemon

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/ingest/journal"
)

func TestPastAlarmsAreReadFromTheNewestBack(t *testing.T) {
	j, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, j.Close()) }()
	at := time.Date(2026, 3, 2, 3, 0, 0, 0, time.UTC)
	_, err = j.Commit(t.Context(), []journal.Entry{{Arrived: at, Mark: &journal.Mark{Name: "started"}}})
	require.NoError(t, err)
	watch := alert.NewWatch(alert.Options{Site: "north-quay"})
	var steps []alert.Transition
	for _, name := range []string{"first", "second", "stands"} { // a webhook each, of which two work again
		steps = append(steps, watch.WebhookFails(at, name, "503")...)
		if name != "stands" {
			for _, in := range watch.View().Incidents {
				acknowledged, err := watch.Acknowledge(in.ID, "Ana", "", at.Add(time.Minute))
				require.NoError(t, err)
				steps = append(steps, acknowledged...)
			}
			steps = append(steps, watch.WebhookWorks(at.Add(2*time.Minute), name)...)
		}
		at = at.Add(time.Hour)
	}
	rows, err := transitionRows(steps)
	require.NoError(t, err)
	require.NoError(t, j.Judge(t.Context(), journal.Judgement{Through: 1, At: at, Transitions: rows}))
	r := records{journal: j, judge: &judge{watch: watch}}

	open, err := r.Alarms(t.Context())
	require.NoError(t, err)
	require.Len(t, open, 1)
	newest, more, err := r.Past(t.Context(), "", 1)
	require.NoError(t, err)
	require.Len(t, newest, 1)
	assert.True(t, more)
	assert.Contains(t, newest[0].Summary, "second", "what stands is not past")
	assert.Equal(t, alert.Normal, newest[0].State)
	older, more, err := r.Past(t.Context(), newest[0].ID, 5)
	require.NoError(t, err)
	require.Len(t, older, 1)
	assert.False(t, more)
	assert.Contains(t, older[0].Summary, "first")
	_, _, err = r.Past(t.Context(), "none", 5)
	assert.ErrorIs(t, err, alert.ErrUnknownIncident)
}
