package broker

import (
	"fmt"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"spile/ingest"
	"spile/ingest/journal"
)

// BenchmarkBroker has clients publish at QoS 1 to a journal on disk, each
// waiting for its acknowledgement before its next message. One client is bound
// by the time of a commit; many share commits.
func BenchmarkBroker(b *testing.B) {
	for _, clients := range []int{1, 4, 16, 64} {
		b.Run(fmt.Sprintf("clients=%d", clients), func(b *testing.B) { benchmark(b, clients) })
	}
}

func benchmark(b *testing.B, clients int) {
	j, err := journal.Open(b.Context(), journal.Options{Dir: b.TempDir()})
	require.NoError(b, err)
	d, err := ingest.NewDecoder(ingest.DecoderOptions{})
	require.NoError(b, err)
	in, err := ingest.NewIntake(ingest.IntakeOptions{Journal: j, Decoder: d, Registerer: prometheus.NewRegistry()})
	require.NoError(b, err)
	in.Start(b.Context())
	br, err := New(Options{Listen: "127.0.0.1:0", Intake: in})
	require.NoError(b, err)
	require.NoError(b, br.Start(b.Context()))
	probes := make([]paho.Client, clients)
	for i := range probes {
		o := paho.NewClientOptions().AddBroker("mqtt://" + br.Addr().String()).SetClientID(fmt.Sprint("hyd-", i)).SetAutoReconnect(false)
		probes[i] = paho.NewClient(o)
		probes[i].Connect().Wait()
	}
	b.ResetTimer()
	var all sync.WaitGroup
	for i, p := range probes {
		all.Go(func() {
			for n := i; n < b.N; n += clients {
				payload := fmt.Sprintf(`{"time":"%s","gravity":1.0118}`, time.Now().Format(time.RFC3339Nano))
				p.Publish(fmt.Sprintf("cellar/FV3/hyd-%d", i), 1, false, payload).Wait()
			}
		})
	}
	all.Wait()
	b.StopTimer()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "messages/s")
	for _, p := range probes {
		p.Disconnect(100)
	}
	require.NoError(b, br.Stop(b.Context()))
	require.NoError(b, in.Stop(b.Context()))
	require.NoError(b, j.Close())
}
