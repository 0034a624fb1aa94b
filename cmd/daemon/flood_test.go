package daemon

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
	"spile/ingest"
)

// flood lets a device make up so many tanks within a second.
func (m *month) flood(tanks int) {
	m.t.Helper()
	done := make(chan error, tanks)
	for i := range tanks {
		message := ingest.Message{Topic: fmt.Sprintf("cellar/X%d/p", i), Payload: []byte(`{"pressure":80}`), Arrived: m.now()}
		require.NoError(m.t, m.d.intake.Offer(m.t.Context(), message, func(err error) { done <- err }))
	}
	for range tanks {
		require.NoError(m.t, <-done)
	}
}

// judged waits until all that is journalled is judged, and gives the cellar as it then stands.
func (m *month) judged() alert.View {
	m.t.Helper()
	last, err := m.d.journal.Last(m.t.Context())
	require.NoError(m.t, err)
	require.NoError(m.t, m.d.judge.reach(m.t.Context(), last))
	return m.d.judge.view()
}

// A broken device makes up ten thousand tanks. The two that were there go on, memory has a bound, a person is told
// once, and two days later nothing is left of it.
func TestTenThousandMadeUpTanksTakeABoundedRoom(t *testing.T) {
	m := newMonth(t, 2, 10*time.Minute, Retention{})
	m.day()
	before := heap()
	m.flood(10_000)
	view := m.judged()
	assert.LessOrEqual(t, len(view.Tanks), 2000)
	t.Logf("%d tanks were learned, for %d kB", len(view.Tanks), (heap()-before)>>10)
	told := func() (n int) {
		for _, in := range m.judged().Incidents {
			if in.Alarm == alert.ProbeFlood {
				n++
			}
		}
		return n
	}
	require.Eventually(t, func() bool { return told() == 1 }, 10*time.Second, 10*time.Millisecond)
	m.flood(10_000)
	assert.Equal(t, 1, told())

	m.day()
	m.day()
	view = m.judged()
	require.Len(t, view.Tanks, 2, "what was heard of only once is forgotten")
	for _, tank := range view.Tanks {
		assert.WithinDuration(t, m.now(), tank.Last[detect.Pressure].Time, 11*time.Minute, "it was heard all the time")
	}
}
