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
