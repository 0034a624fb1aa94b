package daemon

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
	"spile/ingest/influx"
)

// InfluxDB away for a while is nobody's business; for an hour it is told, once, by day, and ends when it takes readings
// again, or when the copy is taken out of the config.
func TestACopyThatStandsStillForAnHourIsTold(t *testing.T) {
	began := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	m := newMonth(t, 1, 10*time.Minute, Retention{})
	now, state, marks := began, influx.State{}, 0
	c := &copying{
		state: func() influx.State { return state }, now: func() time.Time { return now },
		failing: func() bool { return m.d.judge.failing(alert.InfluxBehind) },
		mark: func(ctx context.Context, name, detail string) error {
			marks++
			return m.d.mark(ctx, name, detail)
		},
		words: m.d.words(), fault: func(err error) { require.NoError(t, err) },
	}
	told := func() []alert.Incident {
		var out []alert.Incident
		for _, in := range m.judged().Incidents {
			if in.Alarm == alert.InfluxBehind {
				out = append(out, in)
			}
		}
		return out
	}
	at := func(after time.Duration) {
		now = began.Add(after)
		c.look(t.Context())
		m.judged()
	}

	at(0)
	state = influx.State{Problem: "nobody answers at http://db:8086", Since: began}
	at(59 * time.Minute)
	assert.Empty(t, told(), "a server is mended within the hour")
	at(time.Hour)
	at(61 * time.Minute)
	require.Len(t, told(), 1)
	assert.Equal(t, detect.Medium, told()[0].Priority)
	assert.Equal(t, "nobody answers at http://db:8086, since 09:00", told()[0].Summary)
	assert.Equal(t, 1, marks)

	state = influx.State{Position: 12}
	at(62 * time.Minute)
	at(63 * time.Minute)
	assert.False(t, c.failing())
	assert.Equal(t, 2, marks)
}
