package journal

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
)

// plainly folds readings as they are, one by one.
func plainly(t require.TestingT, j *Journal, f Filter, step time.Duration) map[seriesKey][]detect.TraceStep {
	out := map[seriesKey][]detect.TraceStep{}
	err := j.Readings(context.Background(), f, func(r detect.Reading) error {
		k, at := seriesKey{r.Tank, r.Probe, r.Quantity}, r.Time.Truncate(step)
		steps := out[k]
		if len(steps) == 0 || !steps[len(steps)-1].Time.Equal(at) {
			steps = append(steps, detect.TraceStep{Time: at, Low: r.Value, High: r.Value})
		}
		last := &steps[len(steps)-1]
		last.Low, last.High = min(last.Low, r.Value), max(last.High, r.Value)
		last.Mean += (r.Value - last.Mean) / float64(last.Count+1)
		last.Count++
		out[k] = steps
		return nil
	})
	require.NoError(t, err)
	return out
}

// requirePlain holds traces of several lengths, over any stretch, against the plain folding.
func requirePlain(rt *rapid.T, j *Journal) {
	var f Filter
	if rapid.Bool().Draw(rt, "from") {
		f.From = noon().Add(time.Duration(rapid.IntRange(-500, 700).Draw(rt, "from, minutes")) * time.Minute)
	}
	if rapid.Bool().Draw(rt, "to") {
		f.To = noon().Add(time.Duration(rapid.IntRange(-500, 700).Draw(rt, "to, minutes")) * time.Minute)
	}
	for _, step := range []time.Duration{5 * time.Minute, 10 * time.Minute, 20 * time.Minute, 2 * time.Hour} {
		want := plainly(rt, j, f, step)
		got, err := j.Traces(context.Background(), f, step)
		require.NoError(rt, err)
		require.Len(rt, got, len(want), "step %v of %v", step, f)
		for _, trace := range got {
			plain := want[seriesKey{trace.Tank, trace.Probe, trace.Quantity}]
			require.Len(rt, trace.Steps, len(plain), "step %v of %v", step, f)
			for i, s := range trace.Steps {
				require.InDelta(rt, plain[i].Mean, s.Mean, 1e-12)
				s.Mean = plain[i].Mean
				require.Equal(rt, plain[i], s, "step %v of %v", step, f)
			}
		}
	}
}

// Whatever order readings come in, and however often the journal is opened anew, made older or put right, curves show
// what folding each reading would.
func TestFoldsAreWhatTheirReadingsSay(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir := t.TempDir()
		j, err := Open(t.Context(), Options{Dir: dir})
		require.NoError(rt, err)
		defer func() { require.NoError(rt, j.Close()) }()
		for range rapid.IntRange(1, 6).Draw(rt, "batches") {
			batch := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Entry {
				at := noon().Add(time.Duration(rapid.IntRange(-8*3600, 10*3600).Draw(t, "second")) * time.Second)
				tank := rapid.SampledFrom([]string{"FV1", "FV2"}).Draw(t, "tank")
				return gravity(tank, "hyd", at, 1+float64(rapid.IntRange(1, 90).Draw(t, "points"))/1000)
			}), 0, 80).Draw(rt, "batch")
			_, err := j.Commit(t.Context(), batch)
			require.NoError(rt, err)
			switch rapid.IntRange(0, 5).Draw(rt, "then") {
			case 0: // restarted
				require.NoError(rt, j.Close())
				j, err = Open(t.Context(), Options{Dir: dir})
				require.NoError(rt, err)
			case 1: // written by a spile that knew no folds
				_, err := j.writer.ExecContext(t.Context(), "DELETE FROM folds; "+unfold, foldMillis)
				require.NoError(rt, err)
			case 2: // some of it folded since
				_, err := j.FoldPast(t.Context())
				require.NoError(rt, err)
			}
			requirePlain(rt, j)
		}
		faults, err := j.Check(t.Context(), 0)
		require.NoError(rt, err)
		require.Empty(rt, faults)
	})
}

// An older spile's readings are folded a week at a time, over gaps, and then there is no more to do.
func TestThePastIsFolded(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		const day = 24 * time.Hour
		for _, from := range []time.Duration{0, 20 * day, 21 * day, 300 * day} {
			for i := range 40 {
				commit(t, j, gravity("FV1", "hyd", noon().Add(from+time.Duration(i)*time.Minute), 1.05+float64(i)/1e4))
			}
		}
		want := plainly(t, j, Filter{}, time.Hour)
		_, err := j.writer.ExecContext(t.Context(), "DELETE FROM folds; "+unfold, foldMillis)
		require.NoError(t, err)
		rounds := 0
		for more := true; more; rounds++ {
			more, err = j.FoldPast(t.Context())
			require.NoError(t, err)
			require.Less(t, rounds, 20)
		}
		assert.Equal(t, 5, rounds, "the newest, two a day apart, the oldest, what is before it, and nothing")
		var folded int
		require.NoError(t, j.reader.QueryRowContext(t.Context(), "SELECT sum(count) FROM folds").Scan(&folded))
		assert.Equal(t, 160-10, folded, "all but what shares its ten minutes with the newest")
		traces, err := j.Traces(t.Context(), Filter{}, time.Hour)
		require.NoError(t, err)
		assert.Len(t, traces[0].Steps, len(want[seriesKey{"FV1", "hyd", detect.Gravity}]))
	})
}

func TestCheckFindsFoldsThatAreNotWhatIsThere(t *testing.T) {
	j := openUnchecked(t, Options{Memory: true})
	for i := range 25 {
		commit(t, j, gravity("FV1", "hyd", noon().Add(time.Duration(i)*time.Minute), 1.05))
	}
	_, err := j.writer.ExecContext(t.Context(), "DELETE FROM folds WHERE time = ?", millis(noon()))
	require.NoError(t, err)
	faults, err := j.Check(t.Context(), 0)
	require.NoError(t, err)
	assert.Equal(t, "folds: series 1: 10 readings are folded, and 20 are there\n", lines(faults))
	_, err = j.writer.ExecContext(t.Context(), "UPDATE folds SET low = 2, count = 20")
	require.NoError(t, err)
	faults, err = j.Check(t.Context(), 0)
	require.NoError(t, err)
	assert.Equal(t, "folds: series 1, 2026-03-02T12:10:00Z: 2 to 1.05, mean 1.05 of 20 readings, is no ten minutes of readings\n", lines(faults))
}

// One thinning goes over the hours of several series, of which each has a newest reading of its own.
func TestThinningFoldsEachSeriesAnew(t *testing.T) {
	j := openUnchecked(t, Options{Memory: true})
	at := noon().Truncate(time.Hour)
	entries := []Entry{}
	for m := range 6 * 60 {
		for tank, until := range map[string]int{"FV1": 30, "FV2": 6 * 60, "FV3": 200} {
			if m < until {
				entries = append(entries, gravity(tank, "hyd", at.Add(time.Duration(m)*time.Minute), 1.05))
				entries[len(entries)-1].Arrived = at.Add(time.Duration(m) * time.Minute)
			}
		}
	}
	commit(t, j, entries...)
	through(t, j, int64(len(entries)), int64(len(entries)))
	done, err := j.Thin(t.Context(), Thinning{Before: at.Add(150 * time.Minute), Limit: 10_000})
	require.NoError(t, err)
	require.Equal(t, 29+150+150, done.Gone, "in the midst of an hour")
	faults, err := j.Check(t.Context(), 0)
	require.NoError(t, err)
	assert.Empty(t, faults)
}
