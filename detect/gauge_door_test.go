package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/detect/beer"
)

func TestADoorIsForgottenOnceItIsShut(t *testing.T) {
	for _, test := range []struct {
		name          string
		heard, stands []float64 // degC, half hour by half hour
	}{
		{"a door within one", []float64{14.4, 14.4, 15.1, 14.4}, []float64{14.4, 14.4, 14.4, 14.4}},
		{"across two", []float64{14.4, 14.9, 15.6, 14.5}, []float64{14.4, 14.43, 14.47, 14.5}},
		{"across three", []float64{14.2, 14.9, 15.9, 15.0, 14.6}, []float64{14.2, 14.3, 14.4, 14.5, 14.6}},
		{"in beer that cools", []float64{12, 11, 12, 9, 8}, []float64{12, 11, 10, 9, 8}},
		{"that is yet open", []float64{14.4, 14.4, 15.4, 15.8}, []float64{14.4, 14.4, 15.4, 15.8}},
		{"beer that is turned over", []float64{14.4, 15.4, 15.4, 15.4, 15.4}, []float64{14.4, 15.4, 15.4, 15.4, 15.4}},
		{"a thermostat", []float64{14.4, 14.6, 14.4, 14.2, 14.4}, []float64{14.4, 14.6, 14.4, 14.2, 14.4}},
		{"two hours of warm beer", []float64{14.4, 15.4, 15.4, 15.4, 15.4, 14.4}, []float64{14.4, 15.4, 15.4, 15.4, 15.4, 14.4}},
	} {
		t.Run(test.name, func(t *testing.T) {
			c := newGauge()
			for i, celsius := range test.heard {
				c.Points = append(c.Points, headPoint{At: gaugeBegins.Add(time.Duration(i) * gaugeWidth), KPa: 160, Celsius: celsius})
				c.reckon(testShare)
				c.forgetDoor()
			}
			c.reckon(testShare)
			for i, p := range c.Points {
				assert.InDelta(t, test.stands[i], p.Celsius, 0.005, "half hour %d", i)
				assert.InDelta(t, capacity(p.Celsius, testShare), p.room, 1e-12, "half hour %d", i)
			}
		})
	}
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
