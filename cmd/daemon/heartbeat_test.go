package daemon

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
)

func TestTheHeartBeatsWhileAllIsWell(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		at := func() time.Duration { return time.Since(began) }
		registry := prometheus.NewRegistry()
		var calls []time.Duration
		h := newHeart(Heartbeat{Every: 5 * time.Minute}, func() string {
			if at() > 12*time.Minute && at() < 20*time.Minute {
				return "no probe was heard"
			}
			return ""
		}, slog.New(slog.DiscardHandler), registry)
		h.call = func(context.Context) error {
			calls = append(calls, at())
			if at() > 24*time.Minute && at() < 26*time.Minute {
				return errors.New("answered 503")
			}
			return nil
		}
		h.start(t.Context())
		<-time.After(16 * time.Minute)
		assert.InDelta(t, 0, testutil.ToFloat64(h.well), 0)
		<-time.After(18 * time.Minute)
		require.NoError(t, h.stop(t.Context()))
		minute := time.Minute
		assert.Equal(t, []time.Duration{
			0, 5 * minute, 10 * minute, // withheld from 12 on, the watchdog would bark from 15 on
			20 * minute, 25 * minute, 25*minute + 30*time.Second, 26 * minute, 31 * minute, // 25:00 and 25:30 were not taken
		}, calls)
		assert.InDelta(t, 1, testutil.ToFloat64(h.well), 0)
		assert.InDelta(t, 2, testutil.ToFloat64(h.calls.WithLabelValues("failed")), 0)
		assert.InDelta(t, 6, testutil.ToFloat64(h.calls.WithLabelValues("answered")), 0)
		problems, err := testutil.GatherAndLint(registry)
		require.NoError(t, err)
		assert.Empty(t, problems)
	})
}

func TestSilenceIsNotWell(t *testing.T) {
	now := time.Date(2026, 3, 2, 3, 0, 0, 0, time.UTC)
	probe := func(ago time.Duration, out bool) detect.ProbeStatus {
		return detect.ProbeStatus{Probe: "p", LastHeard: now.Add(-ago), Out: out}
	}
	tank := func(probes ...detect.ProbeStatus) alert.TankView {
		return alert.TankView{Status: detect.Status{Probes: probes}}
	}
	for want, tanks := range map[string][]alert.TankView{
		"no probe was heard yet":        {tank()},
		"no probe was heard for 3h0m0s": {tank(probe(5*time.Hour, false)), tank(probe(3*time.Hour, false), probe(time.Minute, true))},
		"":                              {tank(probe(5*time.Hour, false)), tank(probe(time.Hour, false))},
	} {
		assert.Equal(t, want, silence(alert.View{Tanks: tanks}, now))
	}
	assert.Empty(t, silence(alert.View{Tanks: []alert.TankView{tank(probe(5*time.Hour, true))}}, now), "all were taken out")
	air := detect.ProbeStatus{Probe: "baro-1", LastHeard: now, Outside: true}
	assert.NotEmpty(t, silence(alert.View{Tanks: []alert.TankView{tank(air, probe(5*time.Hour, false))}}, now), "the air tells nothing of a tank")
}
