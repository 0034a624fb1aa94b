package daemon

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/alert"
	"spile/detect"
	"spile/detect/batch"
)

// A report calls an alarm as its page does, and a question by its own words, however it ended.
func TestABatchsAlarmsAreCalledAsTheyWereTold(t *testing.T) {
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	step := func(id string, a detect.Alarm, p detect.Priority, to alert.State, after time.Duration, summary string) alert.Transition {
		return alert.Transition{ID: id, Tank: "FV3", Alarm: a, Priority: p, To: to, Time: at.Add(after), Summary: summary}
	}
	assert.Equal(t, []batch.Alarm{
		{Alarm: detect.Leak, Title: "head pressure is gone, was it opened?", Raised: at, Ended: at.Add(3 * time.Hour), Summary: "was it opened?"},
		{Alarm: detect.HopCharge, Title: "hops in?", Raised: at.Add(time.Hour), Summary: "hops in about Mon 08:30?"},
		{Alarm: detect.Leak, Title: "losing head pressure", Raised: at.Add(9 * time.Hour), Summary: "losing"},
	}, alarmsOf([]alert.Transition{
		step("gone", detect.Leak, detect.Low, alert.Unacknowledged, 0, "was it opened?"),
		step("hops", detect.HopCharge, detect.Low, alert.Unacknowledged, time.Hour, "hops in about Mon 08:30?"),
		step("gone", detect.Leak, detect.Low, alert.Returned, 3*time.Hour, "no longer asked"),
		step("leak", detect.Leak, detect.Medium, alert.Unacknowledged, 9*time.Hour, "losing"),
	}))
}
