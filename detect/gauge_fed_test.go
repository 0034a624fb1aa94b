package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect/beer"
)

// toppedUp is a tank that has stood for two days when gas is put on, which the beer takes up in some hours, and makes so much
// CO2 from then on, kPa absolute.
func toppedUp(made func(hours float64) float64) func(hours float64) float64 {
	return func(hours float64) float64 {
		if since := hours - 48; since > 0 {
			return 180 + 20*(0.3+0.7*math.Exp(-since/5)) + made(since)
		}
		return 180
	}
}

// What climbs after gas was put on is no gas that comes to rest: that goes down.
func TestGasThatWasPutOnSinks(t *testing.T) {
	for seed := range uint64(4) {
		for name, made := range map[string]func(float64) float64{
			"nothing made": nothingMade,
			"a creep":      func(h float64) float64 { return 0.5 * fermented(h-2) },
		} {
			fed := plays(toppedUp(made), 76*time.Hour, 5*time.Minute, 0.05, 0.15, seed)
			require.True(t, fed.onlyFed())
			let := *fed // the same, where it is not known that nothing was let off
			let.Let = let.Since
			let.judge(testShare, capacity(14.4, testShare)/beer.CO2PerPlato(15), relaxLags())
			if name == "nothing made" {
				assert.Less(t, fed.Score, 6.0)
				continue
			}
			assert.Greater(t, fed.Score, let.Score+5)
			for _, null := range fed.stretch(relaxLags()).nulls {
				assert.Less(t, null.fit.beta[sharedTerms], 1.0)
				assert.Less(t, null.fit.beta[sharedTerms+1], 1.0)
			}
		}
	}
}

// Whether gas was only put on is what hands did, seen or told.
func TestWhatHandsDidToTheGasIsTold(t *testing.T) {
	hour := func(h float64) time.Time { return gaugeBegins.Add(time.Duration(h * float64(time.Hour))) }
	for name, test := range map[string]struct {
		act func(c *gauge)
		fed bool
	}{
		"nothing":                 {func(*gauge) {}, false},
		"gas, by the log":         {func(c *gauge) { c.logged(hour(50), true) }, true},
		"gas soon after it began": {func(c *gauge) { c.logged(hour(30), true) }, false},
		"let off":                 {func(c *gauge) { c.logged(hour(50), false) }, false},
		"gas soon after that":     {func(c *gauge) { c.logged(hour(40), false); c.logged(hour(50), true) }, false},
		"gas long after that":     {func(c *gauge) { c.logged(hour(5), false); c.logged(hour(50), true) }, true},
		"gas twice":               {func(c *gauge) { c.logged(hour(45), true); c.logged(hour(50), true) }, true},
		"let off, told late":      {func(c *gauge) { c.logged(hour(50), true); c.logged(hour(49), false) }, false},
		"gas, as the gauge saw it": {func(c *gauge) {
			c.moves(sample{hour(50), 180}, sample{hour(50.1), 195}, sample{hour(50.2), 195}, 14.4, reliefBand{})
		}, true},
		"let off, as it saw it": {func(c *gauge) {
			c.moves(sample{hour(50), 180}, sample{hour(50.1), 150}, sample{hour(50.2), 150}, 14.4, reliefBand{})
		}, false},
	} {
		c := newGauge()
		c.take(hour(0), 180, 14.4, reliefBand{})
		test.act(c)
		assert.Equal(t, test.fed, c.onlyFed(), name)
	}
}
