package detect

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// cellar is a tank under a thermostat, as a thermometer of some error shows it.
type cellar struct {
	*bench
	every   time.Duration
	band    float64 // K, of the thermostat
	misread float64 // K
	probe   string  // that speaks
	beer    float64
	cools   bool
}

func newCellar(t *testing.T, band float64) *cellar {
	c := &cellar{bench: newBench(t, Settings{}), every: 10 * time.Minute, band: band, beer: 14.4, probe: "well-3"}
	c.crash(14.4)
	return c
}

// run lets the beer warm by so much an hour for a time; its thermostat turns it at its tops, unless cooling has failed.
func (c *cellar) run(kelvinPerHour float64, length time.Duration, failed bool) {
	for end := c.now.Add(length); c.now.Before(end); {
		switch {
		case failed, c.beer < 14.4-c.band/2:
			c.cools = false
		case c.beer > 14.4+c.band/2:
			c.cools = true
		}
		step := kelvinPerHour
		if c.cools {
			step = -0.5
		}
		c.beer += step * c.every.Hours()
		c.read(c.probe, Temperature, math.Round(10*(c.beer+c.misread))/10)
		c.pass(c.every)
	}
}

// Cooling that fails is told before the beer passes its limit, with the hour, though the thermometer reads low.
func TestFailedCoolingIsToldAhead(t *testing.T) {
	for name, c := range map[string]struct {
		rate, misread float64
		every         time.Duration
		from          float64 // degC, that it was cooled down from
	}{
		"slowly": {0.04, 0, 10 * time.Minute, 14.4}, "in a night": {0.15, 0, 10 * time.Minute, 14.4}, "fast": {0.4, 0, 5 * time.Minute, 14.4},
		"slowly, read low": {0.04, -0.3, 10 * time.Minute, 14.4}, "read low": {0.15, -0.3, 10 * time.Minute, 14.4},
		"read low, seldom": {0.1, -0.25, 40 * time.Minute, 14.4}, "read high": {0.15, 0.3, 10 * time.Minute, 14.4},
		"read low, after a crash": {0.15, -0.3, 10 * time.Minute, 19}, "fast, once an hour": {0.25, 0, time.Hour, 19},
	} {
		t.Run(name, func(t *testing.T) {
			b := newCellar(t, 0.5)
			b.misread, b.every, b.beer = c.misread, c.every, c.from
			b.run(0.2, 48*time.Hour, false)
			require.Empty(t, b.of(CrashDrift), "the thermostat works")
			for b.beer < 15.4 {
				b.run(c.rate, b.every, true)
			}
			require.NotEmpty(t, b.of(CrashDrift))
			f := b.found[0]
			require.NotNil(t, f.Evidence.Forecast)
			passes := f.Evidence.Forecast.LimitReached
			assert.False(t, passes.Low.After(passes.High))
			assert.Contains(t, f.Summary, "it will be 1.0 degC over its setpoint")
			b.run(0.2, 12*time.Hour, false)
			assert.False(t, b.last(CrashDrift).Active, "cooling is back")
		})
	}
}

// What a thermostat or a door does is no failed cooling.
func TestNoClimbIsSeenWhereCoolingWorks(t *testing.T) {
	for name, play := range map[string]func(*cellar){
		"a coarse thermostat":    func(c *cellar) { c.band = 0.8; c.run(0.15, 96*time.Hour, false) },
		"one that takes all day": func(c *cellar) { c.band = 0.8; c.run(0.03, 120*time.Hour, false) },
		"doors": func(c *cellar) {
			for range 6 {
				c.run(0.1, 20*time.Hour, false)
				c.run(0.4, 40*time.Minute, true)
			}
		},
		"a wild reading of a probe that seldom speaks": func(c *cellar) {
			c.every = 20 * time.Minute
			c.run(0.1, 40*time.Hour, false)
			c.read("well-3", Temperature, 15.6)
			c.pass(c.every)
			c.run(0.1, 12*time.Hour, false)
		},
		"a setpoint that was raised, and beer on its way up": func(c *cellar) {
			c.run(0.2, 30*time.Hour, false)
			c.log("rest", map[string]float64{"setpoint": 18}, nil)
			for c.beer < 18 {
				c.run(0.2, c.every, true)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			c := newCellar(t, 0.4)
			play(c)
			assert.Empty(t, c.of(CrashDrift))
		})
	}
}

// A thermometer that falls silent leaves the beer to one that is off by something else: that is no climb, and each keeps
// what it knows of the tops that it has seen.
func TestAnotherThermometerIsNoClimb(t *testing.T) {
	c := newCellar(t, 0.5)
	c.misread = -0.25
	c.run(0.1, 5*24*time.Hour, false)
	c.probe, c.misread = "hyd-3", 0.25
	c.run(0.1, 3*24*time.Hour, false)
	assert.Empty(t, c.of(CrashDrift), "half a degree more, and the beer is as it was")
	c.probe, c.misread = "well-3", -0.25
	c.run(0.1, 10*time.Hour, false)
	failed := c.now
	c.run(0.1, 16*time.Hour, true)
	require.Equal(t, "++", c.of(CrashDrift), "told ahead, and again past its limit")
	told := c.found[slices.IndexFunc(c.found, func(f Finding) bool { return f.Alarm == CrashDrift })]
	assert.Less(t, told.Time.Sub(failed), 10*time.Hour, "the well knows its tops from before")
	assert.Contains(t, told.Summary, "will be")
}

// The last digit rests for an hour and falls back once, while the beer climbs on: that does not end what was told.
func TestAClimbThatSeemsToRestGoesOn(t *testing.T) {
	c := newCellar(t, 0.4)
	c.run(0.15, 3*24*time.Hour, false)
	c.run(0.04, 20*time.Hour, true)
	require.Equal(t, "+", c.of(CrashDrift))
	c.run(0.02, time.Hour, true)
	c.run(-0.06, time.Hour, true)
	c.run(0.04, 2*time.Hour, true)
	assert.Equal(t, "+", c.of(CrashDrift))
	c.run(-0.3, 3*time.Hour, true)
	assert.Equal(t, "+-", c.of(CrashDrift), "beer that is cooled again ends it")
}

// A thermometer that speaks only while the well is silent knows the tops by what it showed days ago.
func TestTopsAreNotForgottenWhileFewAreKnown(t *testing.T) {
	at := gaugeBegins
	h := heading{}
	for i := range 3 {
		h.keep(tops{At: at.Add(time.Duration(i) * headingStretch), Ends: [looks]float64{15}})
	}
	h.keep(tops{At: at.Add(8 * 24 * time.Hour), Ends: [looks]float64{14.8}})
	assert.InDelta(t, 15, h.top(0), 1e-9)
	for i := range 3 {
		h.keep(tops{At: at.Add(8*24*time.Hour + time.Duration(i+1)*headingStretch), Ends: [looks]float64{14.8}})
	}
	assert.InDelta(t, 14.8, h.top(0), 1e-9)
}

// A room that is hardly warmer than the beer brings it over its tops, and there it stays: its thermometer may read low.
func TestBeerThatHangsFarOverItsTopsIsTold(t *testing.T) {
	c := newCellar(t, 0.4)
	c.run(0.15, 3*24*time.Hour, false)
	for c.beer < 14.95 {
		c.run(0.06, c.every, true)
	}
	require.Empty(t, c.of(CrashDrift))
	c.run(-0.005, 8*time.Hour, true)
	assert.Equal(t, "+", c.of(CrashDrift))
}

// A room that is hardly warmer, and cool at night, turns the beer each day, a little higher: its newest tops are those of
// the climb, and it is told by those that it had before.
func TestBeerThatClimbsByDaysIsTold(t *testing.T) {
	h := heading{Since: gaugeBegins, Learned: gaugeBegins.Add(6 * 24 * time.Hour), Spoke: headingHistory, Turns: turnsKnown}
	for i, top := range []float64{14.6, 14.6, 14.5, 14.6, 14.9, 15.1, 15.2} {
		h.keep(tops{At: gaugeBegins.Add(time.Duration(i) * 12 * time.Hour), Ends: [looks]float64{top}})
	}
	stand := func(celsius, kelvinPerHour float64) bool {
		h.Trail = nil
		for i := range 50 {
			past := time.Duration(i) * headingWidth
			h.Trail = append(h.Trail, glance{sample: sample{At: h.Learned.Add(past), Value: celsius + kelvinPerHour*past.Hours()}})
		}
		return h.hangs(15.4, 14.4)
	}
	assert.True(t, stand(15.1, 0))
	assert.False(t, stand(15.0, 0), "it was higher twice, and came back from there")
	assert.False(t, stand(14.8, 0), "that is not far over its usual tops")
	h.keep(tops{At: gaugeBegins.Add(4 * 24 * time.Hour), Ends: [looks]float64{15.35}})
	assert.True(t, stand(15.2, 0), "one top that is higher may be a door's")
	assert.False(t, stand(15.8, -0.1), "it comes down, for cooling is back")
}

// Where cooling came from is no top of its thermostat: the climb that follows the first night is told as ahead as any.
func TestTheWayDownIsNoTop(t *testing.T) {
	c := newCellar(t, 0.4)
	c.beer = 19
	for c.beer > 14.3 {
		c.run(-0.4, c.every, true)
	}
	c.run(0.15, 48*time.Hour, false)
	h := c.tank.state.Drift.Ahead
	require.GreaterOrEqual(t, h.Turns, turnsKnown)
	assert.InDelta(t, 14.6, h.top(0), 0.1)
}

// A thermometer that spoke for an hour, and again a day later, knows no tops.
func TestAThermometerThatSpokeSeldomKnowsNothing(t *testing.T) {
	c := newCellar(t, 0.4)
	c.every = 4 * time.Hour
	c.run(0, 24*time.Hour, true)
	assert.False(t, c.tank.state.Drift.Ahead.known())
	c.every = 10 * time.Minute
	c.run(0.15, 24*time.Hour, false)
	assert.True(t, c.tank.state.Drift.Ahead.known())
}

// It came so slowly that its thermostat is not known; but no thermostat leaves it so far over its setpoint for so long.
func TestBeerThatHangsFarOverItsSetpointIsTold(t *testing.T) {
	c := newCellar(t, 0.4)
	c.run(0.01, 24*time.Hour, false)
	for c.beer < 15.0 {
		c.run(0.006, c.every, true)
	}
	require.Empty(t, c.of(CrashDrift))
	c.run(0.006, 24*time.Hour, true)
	assert.Equal(t, "+", c.of(CrashDrift))
}

// Cooling that failed before, and came back, leaves tops as high as the limit: then nothing is told ahead, but at the limit
// there is nothing to wait for any more.
func TestCoolingThatFailsAgainIsToldAtTheLimit(t *testing.T) {
	c := newCellar(t, 0.4)
	c.misread = -0.05
	c.run(0.15, 48*time.Hour, false)
	h := &c.tank.state.Drift.Ahead
	h.Tops = append(h.Tops, tops{At: c.now, Ends: [looks]float64{15.5, 15.5, 15.5, 15.5}})
	for c.beer < 15.4 {
		c.run(0.1, c.every, true)
	}
	passed := c.now
	c.run(0.1, 20*time.Minute, true)
	require.Equal(t, "+", c.of(CrashDrift))
	f := c.last(CrashDrift)
	require.Nil(t, f.Evidence.Forecast, "its tops are as high")
	assert.False(t, f.Time.Add(max(0, 20*time.Minute-f.Held)).After(passed))
}

// A full tank under a wide thermostat takes a day to warm through its band: half of a cycle, all of it under the setpoint, does
// not tell that its thermometer reads low.
func TestHalfOfACycleIsNoThermometerThatReadsLow(t *testing.T) {
	for _, perHour := range []float64{0.04, 0.05, 0.06} {
		b := newCellar(t, 0.75)
		b.beer = 13.8 // its jacket is slow
		b.run(perHour, 48*time.Hour, false)
		assert.Empty(t, b.of(CrashDrift), "%g K/h", perHour)
	}
}
