package detect_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/beer"
)

// The creep of this tank takes 0.9 degP in all: the call says where it leads, with bounds that hold the truth, and the
// page's figures come nearer as the curve grows.
func TestACallSaysWhereItLeads(t *testing.T) {
	t.Parallel()
	const plato, store = 0.9, 20.0
	var call *detect.Forecast
	tank := detect.NewTank("FV1", detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 150})
	minute := began
	for _, h := range creepingTank() {
		for ; minute.Before(h.arrived()); minute = minute.Add(time.Minute) {
			tank.Tick(minute)
		}
		if h.event != nil {
			tank.Log(*h.event)
			continue
		}
		for _, f := range tank.Take(*h.reading) {
			if f.Alarm == detect.Refermentation && f.Active {
				call = f.Evidence.Forecast
			}
		}
		if call == nil {
			assert.Nil(t, tank.Status().Forecast, "nothing works, nothing follows")
		}
	}
	require.NotNil(t, call)
	holds := func(i *detect.Interval, value float64, what string) {
		t.Helper()
		require.NotNil(t, i, what)
		assert.LessOrEqual(t, i.Low, value, what)
		assert.GreaterOrEqual(t, i.High, value, what)
		assert.Less(t, i.Low, i.High, what)
	}
	holds(call.AddedABV, plato*beer.AlcoholPerPlato(14.7), "alcohol")
	holds(call.AddedVolumes, beer.Volumes(plato*beer.CO2PerPlato(14.7)), "CO2")
	holds(call.EndGravity, beer.ApparentGravity(3.6-plato), "end gravity, for this float reads right")
	assert.True(t, call.Still.Low.After(began) && call.Still.Low.Before(call.Still.High))
	require.NotNil(t, call.PackageKPa)
	assert.InDelta(t, store, *call.StorageCelsius, 0)
	assert.Less(t, call.PackageKPa.Low, call.PackageKPa.High)
	assert.NotEmpty(t, call.Note, "it was called within the day: the curve is short")

	later := tank.Status().Forecast
	require.NotNil(t, later)
	holds(later.AddedVolumes, beer.Volumes(plato*beer.CO2PerPlato(14.7)), "CO2, later")
	assert.Less(t, later.LeftPlato.High, call.LeftPlato.High, "some of it has gone")
	assert.Less(t, later.AddedVolumes.High-later.AddedVolumes.Low, call.AddedVolumes.High-call.AddedVolumes.Low)
}

// A package holds what its beer still makes: more than the tank's own CO2, warm.
func TestPackagePressureNeedsAGauge(t *testing.T) {
	t.Parallel()
	tank := detect.NewTank("FV1", detect.Settings{})
	var call *detect.Forecast
	for _, h := range creepingTank() {
		if h.event != nil {
			tank.Log(*h.event)
			continue
		}
		if h.reading.Quantity == detect.Pressure {
			continue
		}
		for _, f := range tank.Take(*h.reading) {
			if f.Alarm == detect.Refermentation && f.Active {
				call = f.Evidence.Forecast
			}
		}
	}
	require.NotNil(t, call, "the float alone calls before this story ends")
	assert.Nil(t, call.PackageKPa, "nobody knows the CO2 in this beer")
	assert.NotNil(t, call.EndGravity)
	assert.Less(t, time.Duration(0), call.Still.High.Sub(call.Still.Low))
}
