package daemon

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
	"spile/ingest/journal"
)

// BenchmarkJudge brings readings of a hundred tanks onto disk and has the judge follow, a thousand messages of three
// readings at a time; it tells the readings a second that the judge alone would take.
func BenchmarkJudge(b *testing.B) {
	kept, err := journal.Open(b.Context(), journal.Options{Dir: b.TempDir()})
	require.NoError(b, err)
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	j := judging(kept, &at)
	j.watch = alert.NewWatch(alert.Options{})
	var judged time.Duration
	n := 0
	for b.Loop() {
		batch := make([]journal.Entry, 0, 3000)
		for range 10 {
			at = at.Add(time.Second)
			for tank := range 100 {
				for q, value := range map[detect.Quantity]float64{detect.Gravity: 1.0118, detect.Temperature: 14.3, detect.Pressure: 82} {
					value *= 1 + float64(n%7)*1e-5
					batch = append(batch, journal.Entry{Arrived: at, Reading: &detect.Reading{
						Tank: fmt.Sprintf("FV%d", tank), Probe: "all", Quantity: q, Time: at, Value: value, Raw: value, Arrived: at,
					}})
					n++
				}
			}
		}
		_, err := kept.Commit(b.Context(), batch)
		require.NoError(b, err)
		began := time.Now()
		require.NoError(b, j.round(b.Context()))
		judged += time.Since(began)
	}
	b.ReportMetric(float64(n)/judged.Seconds(), "readings/s")
	require.NoError(b, kept.Close())
}
