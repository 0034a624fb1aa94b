package daemon

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
)

func TestFiguresAreMetrics(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	asked := 0
	var fail error
	f := &figures{
		clock: func() time.Time { return now }, zone: time.UTC, log: slog.New(slog.DiscardHandler),
		began: func(context.Context) (time.Time, error) { return now.AddDate(0, 0, -200), nil },
		steps: func(_ context.Context, from, to time.Time) ([]alert.Transition, error) {
			asked++
			assert.Equal(t, now, to)
			assert.Equal(t, now.AddDate(0, 0, -120), from)
			return []alert.Transition{{
				ID: "a", Time: now.Add(-10 * time.Hour), Tank: "FV1", Alarm: detect.Leak, Priority: detect.Medium,
				From: alert.Normal, To: alert.Unacknowledged,
			}}, fail
		},
	}
	registry := prometheus.NewRegistry()
	f.register(registry)
	want := `
# HELP spile_alarm_system_night_calls Calls between 22:00 and 07:00 over thirty days.
# TYPE spile_alarm_system_night_calls gauge
spile_alarm_system_night_calls 1
# HELP spile_alarm_system_stale Alarms that stood for more than a day, in thirty days.
# TYPE spile_alarm_system_stale gauge
spile_alarm_system_stale 0
# HELP spile_alarm_system_top_share_ratio Share of the ten alarms that call most in all calls of thirty days.
# TYPE spile_alarm_system_top_share_ratio gauge
spile_alarm_system_top_share_ratio 1
`
	names := []string{"spile_alarm_system_night_calls", "spile_alarm_system_stale", "spile_alarm_system_top_share_ratio"}
	require.NoError(t, testutil.GatherAndCompare(registry, strings.NewReader(want), names...))
	problems, err := testutil.GatherAndLint(registry)
	require.NoError(t, err)
	assert.Empty(t, problems)
	assert.Equal(t, 1, asked, "once a minute, however many there are and however often they are asked for")
	now, fail = now.Add(time.Minute), errors.New("disk is full")
	require.NoError(t, testutil.GatherAndCompare(registry, strings.NewReader(want), names...), "the last that were known")
	assert.Greater(t, asked, 1)
}
