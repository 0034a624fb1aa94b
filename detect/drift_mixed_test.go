package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// receive brings warm beer in, which goes through the well within the hour, and lets the tank take it in.
func (c *cellar) receive(heard bool) {
	if heard {
		c.tank.Receive(Event{Tank: "FV2", Name: "transfer", Time: c.now, Arrived: c.now, Words: map[string]string{"to": "FV3"}})
	}
	c.run(0.8, 45*time.Minute, true)
	c.run(0.05, 30*time.Minute, true)
}

func newReceiver(t *testing.T) *cellar {
	c := newCellar(t, 0.1)
	c.every = 5 * time.Minute
	c.tank.settings.BeerLiters = 600 // so little beer warms as fast in a warm cellar
	c.run(0.1, 48*time.Hour, false)
	return c
}

// Warm beer that came from another tank is no climb, and no way to one, be it shut in by hand soon or never.
func TestBeerFromAnotherTankIsNoClimb(t *testing.T) {
	for name, c := range map[string]struct {
		heard, shut bool
		calls       string
	}{
		"nobody logged it": {false, false, "+-"},
		"it may come yet":  {true, false, ""},
		"the tank is shut": {true, true, ""},
	} {
		t.Run(name, func(t *testing.T) {
			b := newReceiver(t)
			b.receive(c.heard)
			if c.shut {
				b.log("seal", nil, nil)
			}
			b.run(0.02, 30*time.Minute, true)
			b.run(0.1, 12*time.Hour, false)
			assert.Equal(t, c.calls, b.of(CrashDrift))
			if c.heard && !c.shut {
				assert.Less(t, b.tank.state.Drift.Ahead.top(0), 14.7, "what came in is no top")
			}
		})
	}
}

// The tops stay known, so that cooling that fails then is told ahead; what passes the limit meanwhile is told as ever.
func TestCoolingThatFailsAfterBeerCameInIsTold(t *testing.T) {
	c := newReceiver(t)
	c.receive(true)
	c.log("seal", nil, nil)
	c.run(0.1, 3*time.Hour, false)
	require.Empty(t, c.of(CrashDrift))
	for c.beer < 15.4 {
		c.run(0.1, c.every, true)
	}
	require.Equal(t, "+", c.of(CrashDrift))
	assert.NotNil(t, c.last(CrashDrift).Evidence.Forecast)

	c = newReceiver(t)
	c.receive(true)
	for c.beer < 15.5 {
		c.run(0.3, c.every, true)
	}
	c.run(0, 20*time.Minute, true)
	require.Equal(t, "+", c.of(CrashDrift))
	assert.Nil(t, c.last(CrashDrift).Evidence.Forecast)
}

// A line that shuts the tank before the transfer, or when it is long over, ends nothing.
func TestOnlyAShutOfTheSameHoursEndsWhatComesIn(t *testing.T) {
	until := gaugeBegins.Add(transferTime)
	for _, c := range []struct{ at, want time.Time }{
		{gaugeBegins.Add(-time.Minute), until}, {gaugeBegins, until}, {gaugeBegins.Add(time.Hour), gaugeBegins.Add(time.Hour)},
		{until.Add(time.Hour), until},
	} {
		d := drift{MixedUntil: until}
		d.shutAt(c.at)
		assert.Equal(t, c.want, d.MixedUntil)
	}
}
