package journal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
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

// thinnedTo thins and tells what went and the seqs that are left.
func thinnedTo(t *testing.T, j *Journal, before time.Time, limit int, readers ...string) (gone int, left []int64) {
	t.Helper()
	done, err := j.Thin(t.Context(), Thinning{Before: before, Readers: readers, Limit: limit})
	require.NoError(t, err)
	all, err := j.After(t.Context(), 0, 100)
	require.NoError(t, err)
	for _, e := range all {
		left = append(left, e.Seq)
	}
	return done.Gone, left
}

func meansOf(t *testing.T, j *Journal, f Filter) (all []Mean) {
	t.Helper()
	require.NoError(t, j.Means(t.Context(), f, func(m Mean) error {
		all = append(all, m)
		return nil
	}))
	return all
}

func TestThinKeepsWhatSomeoneNeeds(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		aged(t, j)
		gone, _ := thinnedTo(t, j, heard(), 100)
		assert.Zero(t, gone, "the judge has not begun")
		require.NoError(t, j.Judge(t.Context(), Judgement{Through: 9, At: heard()}))
		gone, _ = thinnedTo(t, j, heard(), 100)
		assert.Zero(t, gone, "without a snapshot it would begin anew")
		through(t, j, 9, 8)
		gone, _ = thinnedTo(t, j, heard(), 100, "influx")
		assert.Zero(t, gone, "InfluxDB has had nothing")
		require.NoError(t, j.SetPosition(t.Context(), "influx", 6))

		gone, left := thinnedTo(t, j, noon().Add(4*time.Minute), 100, "influx")
		assert.Equal(t, 2, gone)
		assert.Equal(t, []int64{1, 2, 5, 6, 7, 8, 9, 10, 11, 12}, left, "the event and the only reading of FV2 stay")
		gone, left = thinnedTo(t, j, heard(), 1, "influx")
		assert.Equal(t, 1, gone)
		assert.Equal(t, []int64{1, 2, 6, 7, 8, 9, 10, 11, 12}, left)
		gone, left = thinnedTo(t, j, heard(), 100, "influx")
		assert.Equal(t, 1, gone)
		assert.Equal(t, []int64{1, 2, 7, 8, 9, 10, 11, 12}, left, "not forwarded yet")
		_, left = thinnedTo(t, j, heard(), 100)
		assert.Equal(t, []int64{1, 2, 9, 10, 11, 12}, left, "nobody waits for InfluxDB, and the snapshot is older")
		through(t, j, 12, 12)
		_, left = thinnedTo(t, j, heard(), 100)
		assert.Equal(t, []int64{1, 2, 12}, left, "the newest of each series, and the last entry")

		assert.Equal(t, []Outcome{Late, Accepted}, commit(t, j,
			gravity("FV1", "hyd", noon().Add(9*time.Minute-time.Second), 1.05), gravity("FV1", "hyd", noon().Add(time.Hour), 1.05)))
		last, err := j.Last(t.Context())
		require.NoError(t, err)
		assert.EqualValues(t, 14, last)
	})
}

func TestThinningLeavesMeansWithTheirExtremes(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		var entries []Entry
		for i, v := range []float64{1.050, 1.048, 1.049, 1.040, 1.041, 1.030} { // three in the hour of noon, two in the next
			at := noon().Add(time.Duration(i) * 20 * time.Minute)
			e := gravity("FV1", "hyd", at, v)
			e.Arrived = at
			entries = append(entries, e)
		}
		commit(t, j, entries...)
		through(t, j, 6, 6)
		for range 3 { // two at a time: an hour comes in parts
			thinnedTo(t, j, heard().Add(time.Hour), 2)
		}
		want := []Mean{
			{Tank: "FV1", Probe: "hyd", Quantity: detect.Gravity, Hour: noon(), Count: 3, Mean: 1.049, Low: 1.048, High: 1.050},
			{Tank: "FV1", Probe: "hyd", Quantity: detect.Gravity, Hour: noon().Add(time.Hour), Count: 2, Mean: 1.0405, Low: 1.040, High: 1.041},
		}
		got := meansOf(t, j, Filter{Tank: "FV1"})
		require.Len(t, got, 2)
		for i := range got {
			assert.InDelta(t, want[i].Mean, got[i].Mean, 1e-12)
			got[i].Mean = want[i].Mean
		}
		assert.Equal(t, want, got)
		assert.Len(t, meansOf(t, j, Filter{From: noon().Add(time.Hour)}), 1)
		assert.Empty(t, meansOf(t, j, Filter{Tank: "FV2"}))

		gone, newest, err := j.DropMeans(t.Context(), 1)
		require.NoError(t, err)
		assert.Equal(t, 1, gone)
		assert.Equal(t, noon(), newest)
		assert.Len(t, meansOf(t, j, Filter{}), 1)
	})
}

func TestDeliveredMessagesGoAndWaitingOnesStay(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		furnish(t, j)
		gone, err := j.PruneSettled(t.Context(), heard(), 10)
		require.NoError(t, err)
		assert.Zero(t, gone, "not that old")
		gone, err = j.PruneSettled(t.Context(), heard().Add(time.Second), 10)
		require.NoError(t, err)
		assert.Equal(t, 1, gone)
		queues, err := j.Queues(t.Context(), "phone")
		require.NoError(t, err)
		assert.Len(t, queues, 2)
	})
}

func TestCheckStillMissesEntriesAfterThinning(t *testing.T) {
	j := openUnchecked(t, Options{Memory: true})
	aged(t, j)
	through(t, j, 12, 8)
	gone, _ := thinnedTo(t, j, heard(), 100)
	require.Equal(t, 6, gone)
	_, err := j.writer.ExecContext(t.Context(), "DELETE FROM readings WHERE seq IN (9, 11); UPDATE means SET low = 2")
	require.NoError(t, err)
	faults, err := j.Check(t.Context(), 0)
	require.NoError(t, err)
	assert.Equal(t, "readings 10: the entries 9 to 9 before it are missing\nreadings 12: the entries 11 to 11 before it are missing\n"+
		"means: series 2, 2026-03-02T12:00:00Z: 2 to 1.05, mean 1.05 of 6 readings, is no hour of readings\n", lines(faults))
}

func TestSizeFallsWithThinning(t *testing.T) {
	j := open(t, Options{Memory: true})
	batch := make([]Entry, 5000)
	fill(batch, 0)
	commit(t, j, batch...)
	before, err := j.Size(t.Context())
	require.NoError(t, err)
	require.NoError(t, j.Judge(t.Context(), Judgement{Through: 5000, At: heard(), Snapshot: &Snapshot{Seq: 5000, At: heard()}}))
	gone, _ := thinnedTo(t, j, batch[4999].Arrived.Add(time.Second), 10000)
	assert.Equal(t, 5000-64, gone)
	after, err := j.Size(t.Context())
	require.NoError(t, err)
	assert.Less(t, after, before/2)
}
