package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a regulator feeds or a valve lets go is no measure of what yeast makes.
func TestAGaugeTellsOfCO2OnlyWhereNothingHoldsThePressure(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	speak := func() {
		t.Helper()
		b.both(14, 80, 5*time.Minute, 24*time.Hour)
	}
	b.log("seal", nil, nil)
	speak()
	require.NotNil(t, b.tank.Status().CO2Rate)
	for name, amounts := range map[string]map[string]float64{"gas": {"hold": 80}, "vent": {"pressure": 80}} {
		b.log(name, amounts, nil)
		speak()
		assert.Nil(t, b.tank.Status().CO2Rate, "held after %s", name)
	}
	b.log("gas", nil, map[string]string{"hold": "off"})
	speak()
	assert.NotNil(t, b.tank.Status().CO2Rate)
}

// A float tells in extract, the status in CO2: some four grams of it are made of a degree Plato.
func TestAFallingFloatIsToldAsCO2(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.crash(14)
	b.swim("hyd", 1.0118, 0, 3*24*time.Hour)
	b.swim("hyd", 1.0118, 0.0006, 3*24*time.Hour)
	rate := b.tank.Status().CO2Rate
	require.NotNil(t, rate)
	fall := b.tank.rateOfFall(b.tank.state.Floats["hyd"])
	require.NotNil(t, fall)
	assert.InDelta(t, fall.Value*b.tank.co2PerPlato(), rate.Value, 1e-9)
	assert.Greater(t, b.tank.co2PerPlato(), 3.0)
	b.log("gas", map[string]float64{"hold": 80}, nil)
	b.hold("head", Pressure, 80, 5*time.Minute, time.Hour)
	assert.NotNil(t, b.tank.Status().CO2Rate, "the gauge is mute, the float is not")
}

// Where a regulator holds the pressure its gauge sees none of a creep: what is yet to come goes by the float.
func TestWhereAHeldTankLeadsIsTheFloatsToSay(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.crash(14)
	b.log("gas", map[string]float64{"hold": 80}, nil)
	const flat, most = 3 * 24 * time.Hour, 6 * 24 * time.Hour
	for since := time.Duration(0); since < most; since += 5 * time.Minute {
		fallen := max(0, (since-flat).Hours()) / 24 * 0.0016 // SG, some 0.4 degP a day
		b.read("well", Temperature, 14)
		b.read("hyd", Gravity, 1.0118-fallen)
		b.read("head", Pressure, 80+0.02*since.Hours()) // its regulator drifts
		b.pass(5 * time.Minute)
	}
	require.Equal(t, "+", b.of(Refermentation))
	require.Positive(t, b.tank.state.Verdict.CO2Rate.Value, "the gauge has a rate, of its regulator")

	f := b.tank.state.Floats["hyd"]
	assert.InDelta(t, b.tank.rateOfFall(f).Value, b.tank.rateForNow().Value, 1e-9)
	onset := b.tank.state.Outlook.Onset
	assert.Equal(t, f.creepCurve(onset.Low), b.tank.creepCurve(onset))
	told := b.tank.Status().Forecast
	require.NotNil(t, told)
	assert.Greater(t, told.AddedVolumes.Low, 1.0, "1.2 degP have gone, which made 2.5 volumes")
}

// What is made so slowly that a relief setting is centuries away gives no date before today.
func TestALimitCenturiesAwayIsNotPast(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 100, Sealed: true})
	b.both(14, 60, 5*time.Minute, time.Hour)
	e := Evidence{CO2GramsPerLiterDay: &Interval{Value: 0.01, Low: 1e-7, High: 0.02}, Forecast: &Forecast{}}
	b.tank.forecastRelief(&e)
	require.NotNil(t, e.Forecast.LimitReached)
	assert.True(t, e.Forecast.LimitReached.Low.After(b.now))
	assert.True(t, e.Forecast.LimitReached.High.After(e.Forecast.LimitReached.Low))
}

// A verdict ends once no CO2 is made. A gauge that speaks every other hour has the points to say so within a day.
func TestASeldomGaugeTellsWhetherCO2IsMade(t *testing.T) {
	for name, rise := range map[string]float64{"still": 0, "climbing": 1} {
		t.Run(name, func(t *testing.T) {
			b := closedTank(t)
			b.leaksHeard(2*time.Hour, 80, -rise, 24*time.Hour)
			_, told := b.tank.state.Balances["head-3"].rate(quietLook)
			assert.True(t, told)
			assert.Equal(t, rise > 0, b.tank.makesCO2(b.now))
		})
	}
}
