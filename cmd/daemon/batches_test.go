package daemon

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/batch"
	"spile/detect/cellarsim"
	"spile/ingest/journal"
)

// seasonKept is a journal with an invented batch of three weeks, committed as it came.
func seasonKept(t *testing.T, start time.Time) *journal.Journal {
	t.Helper()
	kept, err := journal.Open(t.Context(), journal.Options{Memory: true, Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, kept.Close()) })
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
		}
		if a.Event != nil {
			entries = append(entries, journal.Entry{Arrived: a.Arrived, Event: a.Event})
		}
		if len(entries) > 5000 {
			commit()
		}
		return nil
	}))
	commit()
	return kept
}

func TestABatchIsReadFromTheJournal(t *testing.T) {
	start := time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)
	now := start
	b := &batches{
		journal: seasonKept(t, start), clock: func() time.Time { return now }, log: slog.New(slog.DiscardHandler),
		settings: func(string) detect.Settings {
			return detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 100}
		},
	}
	for day, want := range map[float64]map[string]batch.Verdict{
		4:    {batch.CrashPoint: batch.No},
		7.7:  {batch.CrashPoint: batch.Yes, batch.DryHopPoint: batch.No},
		12.9: {batch.CrashPoint: batch.No},
		20.9: {batch.PackagePoint: batch.Yes},
	} {
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
	begun := time.Now()
	_, err := b.report(t.Context(), "FV7")
	require.NoError(t, err)
	t.Logf("asked again: %s", time.Since(begun))
}
