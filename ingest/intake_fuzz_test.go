package ingest

import (
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/require"

	"spile/ingest/journal"
)

// Whatever comes on whatever topic is answered, and is counted once for each thing that it said: as a reading or a log
// event that is on disk, or as a refusal that names why. What is on disk holds together.
func FuzzIntake(f *testing.F) {
	long := strings.Repeat("x", MaxPayload)
	for _, seed := range []struct{ topic, payload string }{
		{"cellar/FV3/hyd-1", `{"gravity":1.0118,"temperature":14.3,"pressure":82,"battery":87,"signal":-71}`},
		{"cellar/FV3/hyd-1", `{"gravity":1.0118,"time":"2026-03-02T01:15:00Z"}{}`},
		{"cellar/FV3/hyd-1/gravity", `1.0118`}, {"cellar/FV3/log", `{"event":"crash","setpoint":"58 degF","id":"a"}`},
		{"cellar/FV3/log", `{"event":"note","note":"` + long + `"}`}, {"cellar/FV3/hyd-1", long}, {"cellar/FV3/hyd-1", long + "x"},
		{"$SYS/broker/load", `1`}, {"", ``}, {"/", `1`}, {"//", `{}`}, {"cellar//hyd-1", `1`}, {"cellar/FV3/", `1`}, {"cellar/FV3/log/", `{}`},
		{"cellar/" + strings.Repeat("F", 1<<16) + "/x", `{"gravity":1.01}`}, {strings.Repeat("/", 1<<16-1), `x`},
		{"cellar/FV3/hyd-1\x00", `1`}, {"cellar/\xff\xfe/hyd-1", `1`}, {"cellar/+/#", `{"gravity":1.01}`}, {"plant/FV1/dens/x9", `{"ts":1e999}`},
	} {
		f.Add(seed.topic, []byte(seed.payload), false)
		f.Add(seed.topic, []byte(seed.payload), true)
	}
	j, err := journal.Open(f.Context(), journal.Options{Memory: true})
	require.NoError(f, err)
	f.Cleanup(func() { require.NoError(f, j.Close()) })
	clock := newHand(noon)
	in, err := NewIntake(IntakeOptions{Journal: j, Decoder: fuzzDecoder(f), Clock: clock.now, Registerer: prometheus.NewRegistry()})
	require.NoError(f, err)
	in.Start(f.Context())
	f.Cleanup(func() { stop(f, in) })
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool) {
		m := Message{Topic: topic, Payload: payload, Retained: retained}
		before, refused := counted(in)
		last, err := j.Last(t.Context())
		require.NoError(t, err)
		require.NoError(t, in.Hear(t.Context(), m))
		after, refusedNow := counted(in)
		if len(payload) > 0 || !retained { // an empty retained message takes one away from the broker, and says nothing
			require.Greater(t, after, before, "silence")
		}
		if refusedNow > refused {
			newest := in.Refusals()[0]
			require.NotEmpty(t, newest.Detail)
			require.NotContains(t, []string{reasonDefect, reasonUnfit}, newest.Reason, "%+v", newest)
			require.LessOrEqual(t, len(newest.Topic)+len(newest.Payload)+len(newest.Detail), 4096, "what is kept of a refusal has a bound")
		}
		kept, err := j.After(t.Context(), last, 1000)
		require.NoError(t, err)
		for _, e := range kept {
			require.Equal(t, last+1, e.Seq, "nothing is missing in between")
			if e.Reading != nil {
				checkReading(t, *e.Reading)
			}
			last = e.Seq
		}
		require.LessOrEqual(t, float64(len(kept)), after-before, "what is kept was counted")
		clock.turn(time.Second) // so that the input alone decides, and not how often it came
	})
}

// counted is how many readings, log events and refusals were counted so far, and how many of these are refusals.
func counted(in *Intake) (all, refused float64) {
	refused = summed(in.metrics.refusals)
	return summed(in.metrics.readings) + summed(in.metrics.events) + refused, refused
}

func summed(c prometheus.Collector) (sum float64) {
	found := make(chan prometheus.Metric, 1000)
	c.Collect(found)
	close(found)
	for m := range found {
		sum += testutil.ToFloat64(one{m})
	}
	return sum
}

// one is a collector of one metric.
type one struct{ prometheus.Metric }

func (o one) Describe(d chan<- *prometheus.Desc) { d <- o.Desc() }
func (o one) Collect(m chan<- prometheus.Metric) { m <- o.Metric }
