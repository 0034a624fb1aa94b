package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// drains lets the gauge fall from a pressure as a hole lets it: at once by what the head space held, and then the slower, the
// less is left in the beer. A door brings the thermometer up for half an hour, half an hour after the hole came.
func (b *bench) drains(each time.Duration, from, atOnce, door float64, length time.Duration) {
	for start := b.now; b.now.Before(start.Add(length)); b.pass(each) {
		swing := math.Sin(2 * math.Pi * b.now.Sub(began).Hours() / 3)
		past := b.now.Sub(start).Hours()
		warm := 0.0
		if past > 0.5 && past < 1.1 {
			warm = door
		}
		b.read("well-3", Temperature, 14.4+0.2*swing+warm)
		b.read("head-3", Pressure, from*(atOnce*math.Exp(-past/0.6)+(1-atOnce)*math.Exp(-past/7))+0.2*swing)
	}
}

// Gas that goes through a hole slows down as the pressure falls, and to a gauge that seldom speaks that looks like hands
// which let some off at once. What goes on going for hours is none.
func TestALeakThatSlowsDownIsFoundByASeldomGauge(t *testing.T) {
	for _, each := range []time.Duration{23 * time.Minute, 41 * time.Minute, 55 * time.Minute} {
		b := newBench(t, Settings{BeerLiters: 800, HeadspaceLiters: 126})
		b.log("seal", nil, nil)
		b.leaksHeard(each, 48, 0, 60*time.Hour)
		hole := b.now
		b.drains(each, 48, 0.4, 0, 14*time.Hour)
		require.Equal(t, "+", b.of(Leak), "each %s", each)
		assert.Less(t, b.last(Leak).Time.Sub(hole), 12*time.Hour, "each %s", each)
	}
}

// A gauge that was not heard for a while leaves it to the drop to tell a leak, and a door must not blind that for a day.
func TestADoorHidesNoLeak(t *testing.T) {
	for _, kelvin := range []float64{0, 2.6} {
		b := newBench(t, Settings{BeerLiters: 690, HeadspaceLiters: 171})
		b.log("seal", nil, nil)
		b.leaksHeard(20*time.Minute, 24, 0, 72*time.Hour)
		b.pass(7 * time.Hour)
		b.leaksHeard(20*time.Minute, 24, 0, 10*time.Hour)
		hole := b.now
		b.drains(20*time.Minute, 24, 0, kelvin, 8*time.Hour)
		require.Equal(t, "+", b.of(Leak), "%.1f K", kelvin)
		assert.Less(t, b.last(Leak).Time.Sub(hole), 6*time.Hour, "%.1f K", kelvin)
	}
}
