package trial

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

// told is one thing that happens to a gate: a finding at a minute.
type told struct {
	minute int
	alarm  detect.Alarm
	active bool
}

func TestGateTells(t *testing.T) {
	t.Parallel()
	telling := map[detect.Alarm]Telling{
		detect.CrashDrift:   {OnDelay: 20 * time.Minute, OffDelay: 10 * time.Minute, Waits: true},
		detect.OverPressure: {OffDelay: 5 * time.Minute},
		detect.PressureRise: {OnDelay: 10 * time.Minute, SuppressedBy: []detect.Alarm{detect.OverPressure}},
	}
	for _, c := range []struct {
		name  string
		found []told
		hands int // until this minute
		want  []int
	}{
		{"nothing found", nil, 0, nil},
		{"after its on-delay", []told{{5, detect.CrashDrift, true}}, 0, []int{25}},
		{"gone before it", []told{{5, detect.CrashDrift, true}, {20, detect.CrashDrift, false}}, 0, nil},
		{"the delay begins anew", []told{{5, detect.CrashDrift, true}, {20, detect.CrashDrift, false}, {22, detect.CrashDrift, true}}, 0, []int{42}},
		{"worse is no second call", []told{{5, detect.CrashDrift, true}, {40, detect.CrashDrift, true}}, 0, []int{25}},
		{"back within the off-delay is the same call", []told{
			{5, detect.CrashDrift, true}, {30, detect.CrashDrift, false}, {38, detect.CrashDrift, true},
		}, 0, []int{25}},
		{"back after it is another", []told{
			{5, detect.CrashDrift, true}, {30, detect.CrashDrift, false}, {45, detect.CrashDrift, true},
		}, 0, []int{25, 65}},
		{"hands on the tank", []told{{5, detect.CrashDrift, true}}, 50, []int{50}},
		{"hands keep no vessel alarm", []told{{5, detect.OverPressure, true}}, 50, []int{5}},
		{"a parent keeps it quiet", []told{{5, detect.OverPressure, true}, {6, detect.PressureRise, true}}, 0, []int{5}},
		{"until the parent has gone", []told{
			{5, detect.OverPressure, true}, {6, detect.PressureRise, true}, {40, detect.OverPressure, false},
		}, 0, []int{5, 45}},
		{"an end without a begin", []told{{5, detect.CrashDrift, false}}, 0, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g := gate{telling: telling}
			var at []int
			for minute := range 120 {
				now := begins().Add(time.Duration(minute) * time.Minute)
				for _, f := range c.found {
					if f.minute == minute {
						g.hear([]detect.Finding{{Alarm: f.alarm, Active: f.active, Time: now}})
					}
				}
				for range g.settle(now, begins().Add(time.Duration(c.hands)*time.Minute)) {
					at = append(at, minute)
				}
			}
			assert.Equal(t, c.want, at)
		})
	}
}

// Two probes that fall silent are two calls; priority is the finding's own before the alarm's.
func TestGateKeepsProbesApart(t *testing.T) {
	t.Parallel()
	g := gate{telling: UsualTelling()}
	g.hear([]detect.Finding{
		{Alarm: detect.ProbeSilent, Probe: "a", Active: true, Time: begins()},
		{Alarm: detect.ProbeSilent, Probe: "b", Active: true, Time: begins(), Priority: detect.Low},
	})
	calls := g.settle(begins(), time.Time{})
	if assert.Len(t, calls, 2) {
		assert.Equal(t, detect.Medium, calls[0].finding.Priority)
		assert.Equal(t, detect.Low, calls[1].finding.Priority)
	}
	g.hear([]detect.Finding{{Alarm: detect.ProbeSilent, Probe: "a", Time: begins().Add(time.Minute)}})
	g.settle(begins().Add(time.Minute), time.Time{})
	assert.False(t, calls[0].stands(begins().Add(time.Hour)))
	assert.True(t, calls[1].stands(begins().Add(time.Hour)))
}
