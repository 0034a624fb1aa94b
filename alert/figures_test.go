package alert

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
)

// call is one step of an incident of a tank.
func call(tank string, when time.Time, from, to State) Transition {
	return Transition{ID: tank, Tank: tank, Alarm: detect.Leak, Priority: detect.Medium, Time: when, From: from, To: to}
}

func TestFiguresOfAWeek(t *testing.T) {
	from := midnight.AddDate(0, 0, 1)
	hour := func(h float64) time.Time { return from.Add(time.Duration(h * float64(time.Hour))) }
	steps := []Transition{
		call("FV9", from.Add(-30*time.Hour), Normal, Unacknowledged), // before, and stands on
		call("FV1", hour(1), Normal, Unacknowledged),
		call("FV1", hour(1.5), Unacknowledged, Acknowledged),
		call("FV1", hour(2), Acknowledged, Normal),
		call("FV2", hour(9), Normal, Unacknowledged),
		call("FV2", hour(9.1), Unacknowledged, Returned),
		call("FV2", hour(9.3), Returned, Unacknowledged),
		call("FV2", hour(9.4), Unacknowledged, Returned),
		call("FV2", hour(9.6), Returned, Unacknowledged),
		call("FV2", hour(10.6), Unacknowledged, Acknowledged),
		call("FV2", hour(11), Acknowledged, Normal),
		call("FV9", hour(12), Unacknowledged, Acknowledged),
		call("FV3", hour(13), Normal, Suppressed),
		call("FV4", hour(168), Normal, Unacknowledged), // after
	}
	critical := call("FV5", hour(50), Normal, Unacknowledged)
	critical.Alarm, critical.Priority = detect.Vacuum, detect.Critical
	steps = append(steps[:len(steps)-1], critical, steps[len(steps)-1])
	got := Figures(steps, from, from.AddDate(0, 0, 7))
	assert.Equal(t, FiguresReport{
		From: from, To: from.AddDate(0, 0, 7), Calls: 5, CallsPerDay: 5.0 / 7, NightCalls: 2, MostInTenMin: 1,
		ByPriority: map[detect.Priority]int{detect.Medium: 4, detect.Critical: 1},
		Top: []AlarmCount{
			{Tank: "FV2", Alarm: detect.Leak, Count: 3}, {Tank: "FV1", Alarm: detect.Leak, Count: 1}, {Tank: "FV5", Alarm: detect.Vacuum, Count: 1},
		},
		TopShare:   1,
		Chattering: []AlarmCount{{Tank: "FV2", Alarm: detect.Leak, Count: 3}},
		Stale:      []AlarmCount{{Tank: "FV5", Alarm: detect.Vacuum, Count: 1}, {Tank: "FV9", Alarm: detect.Leak, Count: 1}},
		// half an hour, an hour, and 42 hours
		MedianSeconds: 3600,
	}, got)
}

func TestFiguresBeginWhereSpileDid(t *testing.T) {
	ago := func(days float64) time.Time { return midnight.Add(-time.Duration(days * 24 * float64(time.Hour))) }
	for _, c := range []struct {
		name        string
		began, want time.Time
	}{
		{"long ago", ago(400), ago(30)},
		{"nobody knows", time.Time{}, ago(30)},
		{"a week ago", ago(7), ago(7)},
		{"this night: an hour with three calls is no rate of 72 a day", ago(0.25), ago(1)},
		{"after what is asked for", ago(-3), ago(1)},
	} {
		assert.Equal(t, c.want, FiguresFrom(c.began, midnight), c.name)
	}
}

func TestFiguresOfNothing(t *testing.T) {
	got := Figures(nil, midnight, midnight.AddDate(0, 0, 30))
	assert.Zero(t, got.Calls)
	assert.Zero(t, got.TopShare)
	assert.Empty(t, got.Top)
	assert.Zero(t, Figures([]Transition{call("FV1", midnight, Normal, Unacknowledged)}, midnight, midnight).Calls, "no time, no calls")
}

func TestAFlood(t *testing.T) {
	var steps []Transition
	for i := range 12 { // one each half minute: the eleventh, at 5 min, makes it a flood
		steps = append(steps, call(fmt.Sprint("FV", i), midnight.Add(time.Duration(i)*30*time.Second), Normal, Unacknowledged))
	}
	got := Figures(steps, midnight, midnight.Add(10*time.Hour))
	assert.Equal(t, 12, got.MostInTenMin)
	// The fifth from the end came at 3.5 min and counts until 13.5 min.
	assert.InDelta(t, 8.5/600, got.FloodShare, 1e-9)
	assert.InDelta(t, 10.0/12, got.TopShare, 1e-9)

	late := call("FV99", midnight.Add(time.Hour), Normal, Unacknowledged)
	assert.InDelta(t, 8.5/600, Figures(append(steps, late), midnight, midnight.Add(10*time.Hour)).FloodShare, 1e-9)
	assert.InDelta(t, 5.0/10, Figures(steps, midnight, midnight.Add(10*time.Minute)).FloodShare, 1e-9, "cut off at the end")
}

func TestFloodsAgainstAClock(t *testing.T) {
	// The reference looks at every second.
	rapid.Check(t, func(t *rapid.T) {
		var calls []time.Time
		at := midnight
		for range rapid.IntRange(0, 60).Draw(t, "calls") {
			at = at.Add(time.Duration(rapid.IntRange(1, 240).Draw(t, "gap")) * time.Second)
			calls = append(calls, at)
		}
		to := at.Add(time.Duration(rapid.IntRange(1, 1200).Draw(t, "rest")) * time.Second)
		want, on := time.Duration(0), false
		for now := midnight; now.Before(to); now = now.Add(time.Second) {
			n := 0
			for _, c := range calls {
				if !c.After(now) && now.Sub(c) < floodWindow {
					n++
				}
			}
			on = n > floodBegins || on && n >= floodEnds
			if on {
				want += time.Second
			}
		}
		require.Equal(t, want, inFlood(calls, to))
	})
}
