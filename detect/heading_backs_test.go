package detect

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Of a coarse thermostat, whose cut-out is the setpoint and whose thermometer reads high. The bench's band lies half below its
// setpoint, so that the thermometer shows as much more.
const (
	coarseBand = 0.6
	coarseHigh = 0.25 // K
)

func newCoarse(t *testing.T) *cellar {
	c := newCellar(t, coarseBand)
	c.misread = coarseBand/2 + coarseHigh
	return c
}

// calls counts how often somebody was called for the beer's temperature.
func (c *cellar) calls() int { return strings.Count(c.of(CrashDrift), "+") }

// One that was seen to turn below the limit is not called again, be its alarm told or not.
func TestACoarseThermostatIsCalledOnceAtMost(t *testing.T) {
	for _, perHour := range []float64{0.08, 0.15, 0.2, 0.3} {
		t.Run(fmt.Sprintf("%g K/h", perHour), func(t *testing.T) {
			c := newCoarse(t)
			c.run(perHour, 5*24*time.Hour, false)
			assert.LessOrEqual(t, c.calls(), 1)
			assert.NotEmpty(t, c.tank.state.Drift.Ahead.Backs)
		})
	}
}

// A thermostat turns its beer as far over the next setpoint.
func TestACoarseThermostatIsKnownUnderTheNextSetpoint(t *testing.T) {
	c := newCoarse(t)
	c.run(0.2, 2*24*time.Hour, false)
	before := c.calls()
	c.crash(12)
	c.misread -= 2.4 // the bench's thermostat stays where it is
	c.run(0.2, 2*24*time.Hour, false)
	assert.Equal(t, before, c.calls())
}

// What came back before the limit asks the next climb to go past it, and no more: cooling that fails is told in time, and
// ahead where there is room for it.
func TestCoolingOfACoarseThermostatThatFailsIsToldInTime(t *testing.T) {
	ahead, n := 0, 0
	for _, perHour := range []float64{0.05, 0.1, 0.2, 0.35} {
		for _, held := range []time.Duration{9 * time.Hour, 14 * time.Hour, 20 * time.Hour, 30 * time.Hour, 50 * time.Hour} {
			c := newCoarse(t)
			c.run(0.2, held, false)
			for c.cools { // it fails as the beer goes up
				c.run(0.2, c.every, false)
			}
			if c.tank.state.Drift.Side != within {
				continue
			}
			before := len(c.found)
			for c.beer+coarseBand/2 < 15.4 {
				c.run(perHour, c.every, true)
			}
			passed := c.now
			c.run(perHour, 20*time.Minute, true)
			require.Greater(t, len(c.found), before, "%g K/h after %s", perHour, held)
			f := c.found[before]
			told := f.Time.Add(max(0, 20*time.Minute-f.Held))
			assert.False(t, told.After(passed.Add(20*time.Minute)), "%g K/h after %s: %s", perHour, held, told.Sub(passed))
			n++
			if told.Before(passed) {
				ahead++
			}
		}
	}
	assert.Greater(t, 2*ahead, n)
}

// A climb that did pass the limit tells that cooling fails: what came back before it asks no more of the next.
func TestALimitThatWasPassedForgetsWhatCameBack(t *testing.T) {
	c := newCoarse(t)
	c.run(0.2, 30*time.Hour, false)
	h := &c.tank.state.Drift.Ahead
	require.NotEmpty(t, h.Backs)
	for c.tank.state.Drift.Side != warm {
		c.run(0.2, c.every, true)
	}
	c.run(0.2, time.Hour, true)
	assert.Empty(t, h.Backs)
	for !h.Newest.Falls {
		c.run(-0.4, c.every, true)
	}
	assert.Empty(t, h.Backs, "it did not come back before its limit")
}

// It is so while the tops are not known: then they tell all.
func TestWhatCameBackIsHeldAgainstTheNext(t *testing.T) {
	for name, c := range map[string]struct {
		of      heading
		at      float64
		passing bool
	}{
		"not known": {heading{}, 15.2, false}, "clearly past": {heading{}, 15.3, true},
		"known": {heading{Since: gaugeBegins, Spoke: headingHistory}, 15.2, true},
	} {
		t.Run(name, func(t *testing.T) {
			h := c.of
			h.Trail = []glance{{sample: sample{At: gaugeBegins, Value: c.at}}}
			h.keepBack(back{At: gaugeBegins, Over: 0.7})
			assert.Equal(t, c.passing, h.beyond(c.at, 14.4))
		})
	}
}

// It is so for two days under the setpoint in force, and a door's is forgotten with the door.
func TestWhatCameBackIsForgotten(t *testing.T) {
	at := gaugeBegins
	after := func(past time.Duration, since time.Time) []back {
		h := heading{Trail: []glance{{sample: sample{At: at.Add(past), Value: 14.4}}}}
		h.keepBack(back{At: at, Over: 0.8})
		h.keepBack(back{At: at.Add(time.Hour), Over: 0.7})
		h.comesBack(14.4, 15.4, within, since)
		return h.Backs
	}
	assert.Len(t, after(backFor, time.Time{}), 2)
	assert.Len(t, after(backFor+time.Minute, time.Time{}), 1)
	assert.Len(t, after(backFor+2*time.Hour, at.Add(3*time.Hour)), 2)

	h := heading{Backs: after(backFor, time.Time{})}
	h.forgetBacks(at)
	assert.Equal(t, []back{{At: at, Over: 0.8}}, h.Backs)
}
