package ingest

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/journal"
)

func TestOutcomesAreCountedAfterTheCommit(t *testing.T) {
	reg, clock := prometheus.NewRegistry(), newHand(morning)
	in, _ := intakeOnDisk(t, IntakeOptions{Registerer: reg, Clock: clock.now})
	hear := func(topic, payload string) {
		t.Helper()
		require.NoError(t, in.Hear(t.Context(), Message{Topic: topic, Payload: []byte(payload)}))
	}
	hear("cellar/FV3/hyd-1", `{"time":"2026-03-02T01:10:00Z","gravity":1.0118,"temperature":14.3}`)
	hear("cellar/FV3/hyd-1", `{"time":"2026-03-02T01:10:00Z","gravity":1.0118}`) // repeat
	hear("cellar/FV3/hyd-1", `{"time":"2026-03-02T01:10:00Z","gravity":1.0200}`) // conflict
	hear("cellar/FV3/hyd-1", `{"time":"2026-03-02T01:00:00Z","gravity":1.0119}`) // late
	hear("cellar/FV3/hyd-1", `{"gravity":7}`)                                    // refused
	hear("cellar/FV3/log", `{"event":"seal"}`)
	stop(t, in)
	const pattern = "cellar/{tank}/{probe}"
	got := map[string]float64{}
	for _, outcome := range []string{"accepted", "repeat", "conflict", "late", "refused"} {
		got[outcome] = testutil.ToFloat64(in.metrics.readings.WithLabelValues(pattern, outcome))
	}
	assert.Equal(t, map[string]float64{"accepted": 2, "repeat": 1, "conflict": 1, "late": 1, "refused": 1}, got)
	assert.Equal(t, 1.0, testutil.ToFloat64(in.metrics.refusals.WithLabelValues(pattern, ReasonOutOfRange)))
	assert.Equal(t, 1.0, testutil.ToFloat64(in.metrics.events.WithLabelValues("accepted")))
	n, err := testutil.GatherAndCount(reg, "spile_journal_commit_seconds", "spile_intake_queue_messages")
	require.NoError(t, err)
	assert.Equal(t, 2, n)
	problems, err := testutil.GatherAndLint(reg)
	require.NoError(t, err)
	assert.Empty(t, problems)
}

func TestNothingIsCountedBeforeTheCommit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &ledger{gate: make(chan struct{})}
		in := intakeOn(t, l, IntakeOptions{Registerer: prometheus.NewRegistry()})
		heard := make(chan error, 1)
		go func() {
			heard <- in.Hear(t.Context(), Message{Topic: "cellar/FV3/hyd-1", Payload: []byte(`{"gravity":1.01,"temperature":900}`)})
		}()
		synctest.Wait()
		count := func() int { return testutil.CollectAndCount(in.metrics.readings) }
		assert.Zero(t, count())
		assert.Empty(t, in.Refusals())
		l.gate <- struct{}{}
		require.NoError(t, <-heard)
		assert.Equal(t, 2, count(), "one accepted, one refused")
		assert.Len(t, in.Refusals(), 1)
		stop(t, in)
	})
}

func TestWhatTheJournalFindsUnfitIsRefusedOnce(t *testing.T) {
	in := intakeOn(t, &ledger{}, IntakeOptions{})
	commit := in.commit
	in.commit = func(ctx context.Context, entries []journal.Entry) ([]journal.Outcome, error) {
		outcomes, err := commit(ctx, entries)
		outcomes[0] = journal.Refused
		return outcomes, err
	}
	require.NoError(t, in.Hear(t.Context(), gravity("hyd-1", 1.01)))
	stop(t, in)
	require.Len(t, in.Refusals(), 1)
	r := in.Refusals()[0]
	assert.Equal(t, reasonUnfit, r.Reason)
	assert.Equal(t, 1.0, testutil.ToFloat64(in.metrics.readings.WithLabelValues(r.Source, "refused")))
}

func TestSeriesOfKnownSourcesStandAtZero(t *testing.T) {
	reg := prometheus.NewRegistry()
	in, _ := intakeOnDisk(t, IntakeOptions{Registerer: reg, Clock: func() time.Time { return morning }})
	stop(t, in)
	for _, outcome := range []string{"accepted", "repeat", "conflict", "late", "refused"} {
		c, err := in.metrics.readings.GetMetricWithLabelValues("cellar/{tank}/{probe}", outcome)
		require.NoError(t, err)
		assert.Zero(t, testutil.ToFloat64(c))
	}
	n, err := testutil.GatherAndCount(reg, "spile_readings_total")
	require.NoError(t, err)
	assert.NotZero(t, n, "before any message")
}
