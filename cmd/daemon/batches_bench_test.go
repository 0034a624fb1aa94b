package daemon

import (
	"log/slog"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/ingest/journal"
)

// BenchmarkReport reads a batch of 30 days, three series and a reading a minute, from the journal: first, and when it is
// asked again.
func BenchmarkReport(b *testing.B) {
	kept, err := journal.Open(b.Context(), journal.Options{Dir: b.TempDir(), Log: slog.New(slog.DiscardHandler)})
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, kept.Close()) })
	start := time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)
	const days = 30
	for day := range days {
		var entries []journal.Entry
		for minute := range 1440 {
			at := start.Add(time.Duration(day*1440+minute) * time.Minute)
			for q, value := range map[detect.Quantity]float64{detect.Gravity: 1.012 + 0.0002*math.Sin(float64(minute)), detect.Temperature: 14.4, detect.Pressure: 60} {
				r := detect.Reading{Tank: "FV3", Probe: "p-" + string(q), Quantity: q, Time: at, Arrived: at, Value: value, Raw: value}
				entries = append(entries, journal.Entry{Arrived: at, Reading: &r})
			}
		}
		_, err := kept.Commit(b.Context(), entries)
		require.NoError(b, err)
	}
	settings := func(string) detect.Settings { return detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200} }
	clock := func() time.Time { return start.Add(days * 24 * time.Hour) }
	fresh := func() *batches {
		return &batches{journal: kept, settings: settings, clock: clock, log: slog.New(slog.DiscardHandler)}
	}
	b.Run("first", func(b *testing.B) {
		for b.Loop() {
			_, err := fresh().report(b.Context(), "FV3")
			require.NoError(b, err)
		}
	})
	b.Run("again", func(b *testing.B) {
		warm := fresh()
		_, err := warm.report(b.Context(), "FV3")
		require.NoError(b, err)
		for b.Loop() {
			_, err := warm.report(b.Context(), "FV3")
			require.NoError(b, err)
		}
	})
}
