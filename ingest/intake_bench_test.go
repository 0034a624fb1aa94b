package ingest

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"spile/ingest/journal"
)

// BenchmarkIntake brings messages of two readings from 64 probes through the
// queue onto disk, as fast as the writer takes them.
func BenchmarkIntake(b *testing.B) {
	j, err := journal.Open(b.Context(), journal.Options{Dir: b.TempDir()})
	require.NoError(b, err)
	defer func() { require.NoError(b, j.Close()) }()
	d, err := NewDecoder(DecoderOptions{})
	require.NoError(b, err)
	clock := func() time.Time { return morning }
	in, err := NewIntake(IntakeOptions{Journal: j, Decoder: d, Clock: clock, Registerer: prometheus.NewRegistry()})
	require.NoError(b, err)
	in.Start(b.Context())
	var waiting sync.WaitGroup
	first := morning.Add(-24 * time.Hour)
	b.ReportAllocs()
	for n := 0; b.Loop(); n++ {
		at := first.Add(time.Duration(n/64) * 10 * time.Millisecond).Format(time.RFC3339Nano)
		m := Message{
			Topic:   fmt.Sprintf("cellar/FV%d/hyd-1", n%64),
			Payload: fmt.Appendf(nil, `{"time":"%s","gravity":1.0118,"temperature":14.3,"battery":3.91,"rssi":-61}`, at),
		}
		waiting.Add(1)
		require.NoError(b, in.Offer(b.Context(), m, func(error) { waiting.Done() }))
	}
	waiting.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "messages/s")
	require.NoError(b, in.Stop(b.Context()))
}
