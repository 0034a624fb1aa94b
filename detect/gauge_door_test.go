package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/detect/beer"
)

func TestAGaugeForgetsADoorThatIsShut(t *testing.T) {
	at := func(minutes int) time.Time { return gaugeBegins.Add(time.Duration(minutes) * time.Minute) }
	c := newGauge()
	for i, celsius := range []float64{14.4, 14.4, 14.7, 16.0, 14.8, 14.4} {
		c.Points = append(c.Points, headPoint{At: at(30*i + 28), KPa: 160, Celsius: celsius})
	}
	c.reckon(testShare)
	c.Block = block{Start: at(180), Temps: []float64{14.4, 15.1}}
	c.forgetDoor(shutDoor{Before: sample{At: at(80), Value: 14.4}, After: sample{At: at(140), Value: 14.4}})
	c.reckon(testShare)
	for i, p := range c.Points {
		assert.InDelta(t, 14.4, p.Celsius, 1e-9, "half hour %d", i)
		assert.InDelta(t, capacity(14.4, testShare), p.room, 1e-12, "half hour %d", i)
	}
	assert.Equal(t, []float64{14.4, 15.1}, c.Block.Temps, "another door's")
	c.forgetDoor(shutDoor{Before: sample{At: at(170), Value: 14.4}, After: sample{At: at(190), Value: 14.4}})
	assert.Equal(t, []float64{14.4, 14.4}, c.Block.Temps)
}

// A thermometer that a door warmed, in a tank whose cooling then fails: what its beer does to the pressure is explained.
func TestADoorBeforeBeerWarmsIsNoCreep(t *testing.T) {
	t.Parallel()
	const step, lag = 4.0 / 60, 3.0 // h
	room := func(celsius float64) float64 {
		return beer.ClosedTank{Celsius: celsius, BeerLiters: 2000, HeadspaceLiters: 160}.GramsPerKPa()
	}
	for seed := range uint64(3) {
		stands, celsius := 161.3, 14.4 // kPa absolute, degC
		tank := restedTank{rests: 40 * time.Hour, every: 4 * time.Minute, noise: 0.1, seed: seed}
		tank.kPa = func(h float64) float64 {
			warmer := 14.4 - 4*math.Expm1(-max(0, h-2)/30)
			stands *= (warmer + zeroCelsius) / (celsius + zeroCelsius)
			stands += (161.3*room(14.4)/room(warmer) - stands) * step / lag
			celsius = warmer
			return stands - 161.3
		}
		tank.kelvin = func(h float64) float64 {
			return celsius - 14.4 + 2.5*math.Exp(-max(0, h-0.3)/0.3)*min(1, h/0.1)
		}
		b, _ := tank.play(t)
		assert.Empty(t, b.of(Refermentation), "seed %d", seed)
		assert.Less(t, b.tank.state.Gauges["head-3"].Score, 1.5, "seed %d: 4 where the door counts", seed)
	}
}
