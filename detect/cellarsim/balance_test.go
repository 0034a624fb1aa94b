package cellarsim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawDeed draws anything that people or mishaps do to a tank.
func drawDeed(t *rapid.T) Deed {
	kPa := rapid.Float64Range(0, 150)
	return rapid.SampledFrom([]Deed{
		Creep{Plato: rapid.Float64Range(0.05, 2).Draw(t, "creep"), Ramp: 8 * time.Hour, Decay: 20 * time.Hour},
		Pitch{Original: 12, End: 3, Half: 10 * time.Hour, Spread: 3 * time.Hour},
		Hop{Grams: 5000, Leach: 0.05},
		Add{What: "fruit", Plato: 0.5},
		Sample{Liters: rapid.Float64Range(0, 5).Draw(t, "sample")},
		Dump{Liters: rapid.Float64Range(0, 3000).Draw(t, "dump")},
		Transfer{To: "FV4", Liters: 500, Over: time.Hour},
		Vent{},
		Seal{Air: rapid.Float64Range(0, 1).Draw(t, "air")},
		SpundAt{KPa: 1 + kPa.Draw(t, "spund")},
		GasHold{KPa: 1 + kPa.Draw(t, "hold"), CreepPerHour: 1},
		GasOff{},
		TopUp{KPa: kPa.Draw(t, "top-up"), Stone: true},
		Rouse{KPa: kPa.Draw(t, "rouse")},
		Leaks{PerDay: 0.3},
		Crash{Celsius: rapid.Float64Range(-1, 20).Draw(t, "setpoint"), Over: 3 * time.Hour},
		CoolingFails{For: 5 * time.Hour},
		ValveSticksOpen{For: 5 * time.Hour},
		Door{Celsius: 30, For: time.Hour},
	}).Draw(t, "deed")
}

// drawTank draws a tank with a script of anything at any time.
func drawTank(t *rapid.T) Tank {
	tank := Unitank("FV1")
	tank.BeerLiters = rapid.Float64Range(100, 5000).Draw(t, "beer")
	tank.HeadspaceLiters = rapid.Float64Range(20, 1000).Draw(t, "head space")
	tank.ExchangeLag = time.Duration(rapid.Float64Range(0.05, 50).Draw(t, "lag") * float64(time.Hour))
	tank.Air = rapid.Float64Range(0, 1).Draw(t, "air at the start")
	for range rapid.IntRange(0, 12).Draw(t, "acts") {
		minute := rapid.IntRange(0, 48*60).Draw(t, "minute")
		tank.Script = append(tank.Script, Act{At: time.Duration(minute) * time.Minute, Do: drawDeed(t)})
	}
	return tank
}

func TestNoCO2IsMadeOrLostWhateverHappens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tank := drawTank(t)
		whole := tank.BeerLiters + tank.HeadspaceLiters
		check := func(s Truth) {
			turnover := s.StartGrams + s.MadeGrams + s.AddedGrams
			switch {
			case math.Abs(s.Unbalanced()) > 1e-9*turnover:
				t.Fatalf("%g g of CO2 from nowhere: %+v", s.Unbalanced(), s)
			case math.Abs(s.BeerLiters+s.HeadspaceLiters-whole) > 1e-6:
				t.Fatalf("the vessel changed its size: %+v", s)
			case s.DissolvedGramsPerLiter < 0 || s.HeadspaceGrams < 0 || s.InertKPa < 0:
				t.Fatalf("less gas than none: %+v", s)
			case !(math.Abs(s.GaugeKPa) < 1e5):
				t.Fatalf("no pressure: %+v", s)
			}
		}
		step := rapid.SampledFrom([]time.Duration{time.Minute, 5 * time.Minute}).Draw(t, "step")
		plan := Plan{Start: monday(), Tanks: []Tank{tank}, Step: step, Weather: Weather{Sigma: 1}, Observe: check}
		c, err := New(plan, seeded(rapid.Uint64().Draw(t, "seed")))
		require.NoError(t, err)
		require.NoError(t, c.Each(monday().Add(60*time.Hour), func(Arrival) error { return nil }))
	})
}

func TestTheStepHardlyMatters(t *testing.T) {
	tank := Unitank("FV1")
	tank.Cooling.Band = 0.01 // what is left of the thermostat's own step is small
	tank.Script = append(dryHop(3*time.Hour, 9000, "A-17", 0.1),
		Act{At: 22 * time.Hour, Do: Creep{Plato: 0.3, Ramp: 10 * time.Hour, Decay: 20 * time.Hour}})
	run := func(step time.Duration) Truth {
		c, err := New(Plan{Start: monday(), Tanks: []Tank{tank}, Step: step}, seeded(1))
		require.NoError(t, err)
		require.NoError(t, c.Each(monday().Add(60*time.Hour), func(Arrival) error { return nil }))
		truth, _ := c.Truth("FV1")
		return truth
	}
	fine, coarse := run(6*time.Second), run(time.Minute)
	assert.InDelta(t, fine.GaugeKPa, coarse.GaugeKPa, 0.5)
	assert.InDelta(t, fine.ExtractPlato, coarse.ExtractPlato, 1e-6)
	assert.InDelta(t, fine.DissolvedGramsPerLiter, coarse.DissolvedGramsPerLiter, 0.01)
}
