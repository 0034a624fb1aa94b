package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// TestEveryOlderJournalIsBroughtForward opens a file of each schema there was,
// as it was left then, and finds in it all that was kept.
func TestEveryOlderJournalIsBroughtForward(t *testing.T) {
	for v := 1; v <= schemaVersion; v++ {
		t.Run(fmt.Sprint("schema ", v), func(t *testing.T) {
			text, err := os.ReadFile(fmt.Sprintf("../../testdata/journals/schema-%d.sql", v))
			if v == schemaVersion && errors.Is(err, os.ErrNotExist) {
				t.Skip("the newest schema; its file is made before the next one")
			}
			require.NoError(t, err, "a schema that was released has its file in testdata/journals")
			dir := t.TempDir()
			old, err := pool(source(filepath.Join(dir, fileName), "rwc"), 1)
			require.NoError(t, err)
			_, err = old.ExecContext(t.Context(), string(text))
			require.NoError(t, err)
			have, err := version(t.Context(), old)
			require.NoError(t, err)
			require.Equal(t, v, have, "the file is what its name says")
			require.NoError(t, old.Close())
			requireAllOf(t, open(t, Options{Dir: dir}))
		})
	}
}

// requireAllOf finds everything that the files of testdata/journals hold.
func requireAllOf(t *testing.T, j *Journal) {
	t.Helper()
	ctx := t.Context()
	faults, err := j.Check(ctx, 0)
	require.NoError(t, err)
	require.Empty(t, faults)
	var got []float64
	require.NoError(t, j.Readings(ctx, Filter{Tank: "FV3", Quantity: detect.Gravity}, func(r detect.Reading) error {
		got = append(got, r.Value)
		return nil
	}))
	assert.ElementsMatch(t, []float64{1.0118, 1.0117, 1.0116}, got)
	events, err := j.Events(ctx, Filter{Tank: "FV3"})
	require.NoError(t, err)
	require.Len(t, events, 1)
	assert.Equal(t, "crash", events[0].Name)
	assert.Equal(t, "Ana", events[0].By)
	steps, err := j.Transitions(ctx, TransitionFilter{})
	require.NoError(t, err)
	assert.Len(t, steps, 2)
	queues, err := j.Queues(ctx, "office")
	require.NoError(t, err)
	require.Len(t, queues, 1)
	assert.Equal(t, "msg_second", queues[0].ID, "what was still to be told is still to be told")
	through, _, err := j.Judged(ctx)
	require.NoError(t, err)
	assert.Equal(t, int64(7), through)
	// And it goes on from there.
	later := time.UnixMilli(1772415000000).UTC()
	assert.Equal(t, []Outcome{Repeat, Accepted}, commit(t, j,
		gravity("FV3", "hyd-1", time.UnixMilli(1772413200000).UTC(), 1.0118), gravity("FV3", "hyd-1", later, 1.0115)))
}
