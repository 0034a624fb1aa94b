package cellarsim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sent runs a probe of one reading a minute over a radio for ten days.
func sent(t *testing.T, r Radio) []Arrival {
	t.Helper()
	p := Probe{Name: "p", Interval: time.Minute, Pressure: &Sense{}, Radio: r}
	var all []Arrival
	require.NoError(t, alone(t, watched(p)).Each(monday().Add(10*24*time.Hour), func(a Arrival) error {
		a.Readings = append(a.Readings[:0:0], a.Readings...)
		all = append(all, a)
		return nil
	}))
	for i := 1; i < len(all); i++ {
		require.False(t, all[i].Arrived.Before(all[i-1].Arrived), "messages come by arrival")
	}
	return all
}

const sentMinutes = 10 * 24 * 60

// overtaken counts the readings that come after a newer one.
func overtaken(all []Arrival) (n int) {
	newest := time.Time{}
	for _, a := range all {
		own := a.Readings[0].Time
		if own.Before(newest) {
			n++
			continue
		}
		newest = own
	}
	return n
}

func TestAPerfectRadioDeliversAll(t *testing.T) {
	all := sent(t, Radio{})
	require.Len(t, all, sentMinutes)
	for i, a := range all {
		require.Equal(t, monday().Add(time.Duration(i)*time.Minute), a.Arrived)
		require.Equal(t, a.Arrived, a.Readings[0].Arrived)
	}
}

func TestRadioLosesRepeatsAndDelays(t *testing.T) {
	t.Run("loss", func(t *testing.T) {
		assert.InDelta(t, 0.9*sentMinutes, len(sent(t, Radio{LossShare: 0.1})), 160)
	})
	t.Run("repeats", func(t *testing.T) {
		all := sent(t, Radio{RepeatShare: 0.1})
		assert.InDelta(t, 1.1*sentMinutes, len(all), 160)
		values := map[time.Time]float64{}
		for _, a := range all {
			r := a.Readings[0]
			if before, ok := values[r.Time]; ok {
				assert.Equal(t, before, r.Value, "a repeat says the same")
			}
			values[r.Time] = r.Value
		}
		assert.Len(t, values, sentMinutes)
	})
	t.Run("delay and jitter", func(t *testing.T) {
		for _, a := range sent(t, Radio{Delay: time.Second, Jitter: 2 * time.Second}) {
			late := a.Arrived.Sub(a.Readings[0].Time)
			require.GreaterOrEqual(t, late, time.Second)
			require.Less(t, late, 3*time.Second)
		}
	})
	t.Run("late ones are overtaken", func(t *testing.T) {
		all := sent(t, Radio{LateShare: 0.05, LateBy: 20 * time.Minute})
		assert.Greater(t, overtaken(all), sentMinutes/40)
	})
}

func TestOutagesLoseOrHoldBack(t *testing.T) {
	gaps := Radio{GapsPerDay: 2, GapLength: 2 * time.Hour}
	lost := sent(t, gaps)
	share := float64(len(lost)) / sentMinutes
	assert.InDelta(t, 12.0/14, share, 0.12, "up 12 hours on average, then down for 2")
	gaps.Buffered = true
	held := sent(t, gaps)
	assert.InDelta(t, sentMinutes, len(held), 600, "what is still held back at the end is missing")
	assert.Zero(t, overtaken(held), "the oldest first")
	assert.Greater(t, len(held), len(lost))
}

func TestANewRadioLeavesTheNoiseAsItWas(t *testing.T) {
	noisy := func(r Radio) map[time.Time]float64 {
		p := Probe{Name: "p", Interval: time.Minute, Pressure: &Sense{Noise: 1}, Radio: r}
		seen := map[time.Time]float64{}
		for _, r := range heard(t, watched(p), 24*time.Hour)["pressure"] {
			seen[r.Time] = r.Value
		}
		return seen
	}
	whole := noisy(Radio{})
	for at, value := range noisy(Radio{LossShare: 0.3, RepeatShare: 0.2}) {
		assert.Equal(t, whole[at], value)
	}
}
