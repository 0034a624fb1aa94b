package subscriber

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"spile/ingest"
	"spile/ingest/servertest"
)

// counted is an intake that counts what it has settled.
type counted struct {
	*ingest.Intake
	settled *sync.WaitGroup
}

func (c counted) Offer(ctx context.Context, m ingest.Message, done func(error)) error {
	return c.Intake.Offer(ctx, m, func(err error) { done(err); c.settled.Done() })
}

// BenchmarkSubscriber hears what a broker kept while spile was away, onto a
// journal on disk, each message acknowledged after its commit.
func BenchmarkSubscriber(b *testing.B) {
	m := servertest.Mosquitto(b, servertest.MosquittoOptions{Settings: []string{"max_inflight_messages 1000"}})
	in, j := onDisk(b, b.TempDir())
	var settled sync.WaitGroup
	open := func() *Subscriber {
		s, err := New(withDefaults(Options{Broker: m.URL, Intake: counted{in, &settled}}))
		require.NoError(b, err)
		s.Start(b.Context())
		require.Eventually(b, func() bool { ok, _ := s.Ready(); return ok }, patient, time.Millisecond)
		return s
	}
	require.NoError(b, open().Stop(b.Context())) // the session stands
	p := probe(b, m.URL)
	tokens := make([]paho.Token, b.N)
	first := time.Date(2026, 3, 1, 2, 0, 0, 0, time.UTC)
	for n := range tokens {
		at := first.Add(time.Duration(n) * 10 * time.Millisecond).Format(time.RFC3339Nano)
		tokens[n] = p.Publish("cellar/FV3/hyd-1", 1, false, fmt.Sprintf(`{"time":"%s","gravity":1.0118,"temperature":14.3}`, at))
	}
	for _, token := range tokens {
		finish(b, token)
	}
	settled.Add(b.N)
	b.ResetTimer()
	s := open()
	settled.Wait()
	b.StopTimer()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "messages/s")
	require.NoError(b, s.Stop(b.Context()))
	last, err := j.Last(b.Context())
	require.NoError(b, err)
	require.Positive(b, last)
}
