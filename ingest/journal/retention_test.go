package journal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// aged commits ten readings, a minute apart, of one series and one of another,
// after an event.
func aged(t *testing.T, j *Journal) {
	t.Helper()
	entries := []Entry{hopped(9, noon()), gravity("FV2", "hyd", noon(), 1.05)}
	for i := range 10 {
		entries = append(entries, gravity("FV1", "hyd", noon().Add(time.Duration(i)*time.Minute), 1.05))
	}
	for i := range entries {
		entries[i].Arrived = noon().Add(time.Duration(i) * time.Minute)
	}
	commit(t, j, entries...)
}

func through(t *testing.T, j *Journal, judged, snapshot int64) {
	t.Helper()
	require.NoError(t, j.Judge(t.Context(), Judgement{Through: judged, At: heard(), Snapshot: &Snapshot{Seq: snapshot, At: heard()}}))
}

func prunedTo(t *testing.T, j *Journal, before time.Time, limit int) (gone int, left []int64) {
	t.Helper()
	gone, err := j.Prune(t.Context(), before, limit)
	require.NoError(t, err)
	all, err := j.After(t.Context(), 0, 100)
	require.NoError(t, err)
	for _, e := range all {
		left = append(left, e.Seq)
	}
	return gone, left
}

func TestPruneKeepsWhatSomeoneNeeds(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		aged(t, j)
		gone, _ := prunedTo(t, j, heard(), 100)
		assert.Zero(t, gone, "the judge has not begun")
		require.NoError(t, j.Judge(t.Context(), Judgement{Through: 9, At: heard()}))
		gone, _ = prunedTo(t, j, heard(), 100)
		assert.Zero(t, gone, "without a snapshot it would begin anew")
		through(t, j, 9, 8)
		require.NoError(t, j.SetPosition(t.Context(), "influx", 6))

		gone, left := prunedTo(t, j, noon().Add(4*time.Minute), 100)
		assert.Equal(t, 2, gone)
		assert.Equal(t, []int64{1, 2, 5, 6, 7, 8, 9, 10, 11, 12}, left, "the event and the only reading of FV2 stay")
		gone, left = prunedTo(t, j, heard(), 1)
		assert.Equal(t, 1, gone)
		assert.Equal(t, []int64{1, 2, 6, 7, 8, 9, 10, 11, 12}, left)
		gone, left = prunedTo(t, j, heard(), 100)
		assert.Equal(t, 1, gone)
		assert.Equal(t, []int64{1, 2, 7, 8, 9, 10, 11, 12}, left, "not forwarded yet")
		require.NoError(t, j.SetPosition(t.Context(), "influx", 12))
		_, left = prunedTo(t, j, heard(), 100)
		assert.Equal(t, []int64{1, 2, 9, 10, 11, 12}, left, "the snapshot is older")
		through(t, j, 12, 12)
		_, left = prunedTo(t, j, heard(), 100)
		assert.Equal(t, []int64{1, 2, 12}, left, "the newest of each series, and the last entry")

		assert.Equal(t, []Outcome{Late, Accepted}, commit(t, j,
			gravity("FV1", "hyd", noon().Add(9*time.Minute-time.Second), 1.05), gravity("FV1", "hyd", noon().Add(time.Hour), 1.05)))
		last, err := j.Last(t.Context())
		require.NoError(t, err)
		assert.EqualValues(t, 14, last)
	})
}

func TestCheckStillMissesEntriesAfterPruning(t *testing.T) {
	j := openUnchecked(t, Options{Memory: true})
	aged(t, j)
	through(t, j, 12, 8)
	gone, _ := prunedTo(t, j, heard(), 100)
	require.Equal(t, 6, gone)
	_, err := j.writer.ExecContext(t.Context(), "DELETE FROM readings WHERE seq IN (9, 11)")
	require.NoError(t, err)
	faults, err := j.Check(t.Context(), 0)
	require.NoError(t, err)
	assert.Equal(t, "readings 10: the entries 9 to 9 before it are missing\nreadings 12: the entries 11 to 11 before it are missing\n", lines(faults))
}

func TestSizeFallsWithPruning(t *testing.T) {
	j := open(t, Options{Memory: true})
	batch := make([]Entry, 5000)
	fill(batch, 0)
	commit(t, j, batch...)
	before, err := j.Size(t.Context())
	require.NoError(t, err)
	require.NoError(t, j.Judge(t.Context(), Judgement{Through: 5000, At: heard(), Snapshot: &Snapshot{Seq: 5000, At: heard()}}))
	gone, err := j.Prune(t.Context(), batch[4999].Arrived.Add(time.Second), 10000)
	require.NoError(t, err)
	assert.Equal(t, 5000-64, gone)
	after, err := j.Size(t.Context())
	require.NoError(t, err)
	assert.Less(t, after, before/2)
}
