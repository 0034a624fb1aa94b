package daemon

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
	"spile/detect/batch"
	"spile/detect/cellarsim"
	"spile/ingest/journal"
)

// seasonTank is the tank of the invented batch, as a config would have it.
func seasonTank() detect.Settings {
	return detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 100}
}

// seasonKept is a journal with an invented batch of three weeks, committed as it came and judged.
func seasonKept(t *testing.T, start time.Time) *journal.Journal {
	t.Helper()
	kept, err := journal.Open(t.Context(), journal.Options{Memory: true, Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, kept.Close()) })
	watch := alert.NewWatch(alert.Options{Site: "north-quay", Tanks: map[string]detect.Settings{"FV7": seasonTank()}})
	var steps []alert.Transition
	var entries []journal.Entry
	commit := func() {
		_, err := kept.Commit(context.Background(), entries)
		require.NoError(t, err)
		entries = nil
	}
	require.NoError(t, cellarsim.Season(start, 7).Each(start.Add(cellarsim.SeasonLength), func(a cellarsim.Arrival) error {
		for _, r := range a.Readings {
			r.Arrived = a.Arrived
			entries = append(entries, journal.Entry{Arrived: a.Arrived, Reading: &r})
			steps = append(steps, watch.Take(r)...)
		}
		if a.Event != nil {
			entries = append(entries, journal.Entry{Arrived: a.Arrived, Event: a.Event})
			steps = append(steps, watch.Log(*a.Event)...)
		}
		if len(entries) > 5000 {
			commit()
		}
		return nil
	}))
	commit()
	rows, err := transitionRows(steps)
	require.NoError(t, err)
	require.NoError(t, kept.Judge(t.Context(), journal.Judgement{Through: 1, At: start, Transitions: rows}))
	return kept
}

func TestABatchIsReadFromTheJournal(t *testing.T) {
	start := time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)
	now := start
	b := &batches{
		journal: seasonKept(t, start), clock: func() time.Time { return now }, log: slog.New(slog.DiscardHandler),
		settings: func(string) detect.Settings { return seasonTank() },
	}
	for _, asked := range []struct {
		day  float64
		want map[string]batch.Verdict
	}{
		{4, map[string]batch.Verdict{batch.CrashPoint: batch.No}},
		{7.7, map[string]batch.Verdict{batch.CrashPoint: batch.Yes, batch.DryHopPoint: batch.No}},
		{12.9, map[string]batch.Verdict{batch.CrashPoint: batch.No}},
		{16.5, map[string]batch.Verdict{batch.CrashPoint: batch.Yes}},
		{20.9, map[string]batch.Verdict{batch.PackagePoint: batch.Yes}},
	} {
		day, want := asked.day, asked.want
		now = start.Add(time.Duration(day * 24 * float64(time.Hour)))
		rep, err := b.report(t.Context(), "FV7")
		require.NoError(t, err)
		for _, p := range rep.HoldPoints {
			if v, asked := want[p.Name]; asked {
				assert.Equal(t, v, p.Verdict, "day %g, %s: %s", day, p.Name, p.Lacking())
			}
		}
		assert.Equal(t, "Rope Walk IPA", rep.Beer)
	}
	then, err := b.reportAt(t.Context(), "FV7", start.Add(4*24*time.Hour))
	require.NoError(t, err)
	assert.Equal(t, batch.Fermenting, then.Stage.Name, "as it stood on the fourth day")
	rep, err := b.report(t.Context(), "FV7")
	require.NoError(t, err)
	require.NotEmpty(t, rep.Alarms, "the creep was called")
	assert.Equal(t, detect.Refermentation, rep.Alarms[0].Alarm)
	assert.True(t, rep.Alarms[0].Raised.Before(start.Add(12*24*time.Hour)), "within a day and a half")
	for _, a := range rep.Alarms {
		t.Logf("%s %s..%s %s", a.Alarm, a.Raised, a.Ended, a.Summary)
	}
}
