package ingest

import (
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/journal"
)

// Probes whose clock was never set, or is far ahead, are refused with a word why and counted; what they say with the
// right time is taken.
func TestAbsurdProbeClocksAreRefusedAndCounted(t *testing.T) {
	j, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, j.Close()) })
	d, err := NewDecoder(DecoderOptions{})
	require.NoError(t, err)
	reg := prometheus.NewRegistry()
	in, err := NewIntake(IntakeOptions{Journal: j, Decoder: d, Clock: newHand(morning).now, Registerer: reg})
	require.NoError(t, err)
	in.Start(t.Context())
	for _, c := range []struct{ time, reason string }{
		{`0`, ReasonTimeBehind}, {`"1970-01-01T00:00:12Z"`, ReasonTimeBehind}, {`"2099-12-31T23:59:59Z"`, ReasonTimeAhead},
		{`4102444799`, ReasonTimeAhead}, {`-1`, ReasonBadTime}, {`1e300`, ReasonBadTime},
		{`"2026-03-02T23:59:60Z"`, ReasonBadTime}, // a leap second, of which there is none that day
	} {
		before := testutil.ToFloat64(in.metrics.refusals.WithLabelValues(probeTopic, c.reason))
		m := Message{Topic: "cellar/FV1/hyd-1", Payload: []byte(`{"time":` + c.time + `,"gravity":1.0118}`)}
		require.NoError(t, in.Hear(t.Context(), m))
		assert.InDelta(t, before+1, testutil.ToFloat64(in.metrics.refusals.WithLabelValues(probeTopic, c.reason)), 0, c.time)
		assert.NotEmpty(t, in.Refusals()[0].Detail)
	}
	last, err := j.Last(t.Context())
	require.NoError(t, err)
	assert.Zero(t, last, "nothing of it is kept")
	require.NoError(t, in.Hear(t.Context(), gravity("hyd-1", 1.0118)))
	last, err = j.Last(t.Context())
	require.NoError(t, err)
	assert.EqualValues(t, 1, last)
	stop(t, in)
}
