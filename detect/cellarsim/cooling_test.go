package cellarsim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBeerFollowsItsRoomAsAFirstOrderLag(t *testing.T) {
	for _, step := range []time.Duration{10 * time.Second, time.Minute, 10 * time.Minute} {
		tank := still()
		tank.Cooling = Cooling{Room: 22, RoomLag: 30 * time.Hour}
		c, err := New(Plan{Start: monday(), Tanks: []Tank{tank}, Step: step}, seeded(1))
		require.NoError(t, err)
		for _, h := range []float64{1, 10, 30, 90} {
			require.NoError(t, c.Each(monday().Add(hours(h)), func(Arrival) error { return nil }))
			truth, _ := c.Truth("FV1")
			assert.InDelta(t, 22-7.6*math.Exp(-h/30), truth.Celsius, 1e-9, "step %s, hour %g", step, h)
		}
	}
}

func TestJacketAndRoomTogether(t *testing.T) {
	tank := still(Act{Do: ValveSticksOpen{}})
	tank.Cooling = Cooling{Setpoint: 14.4, Band: 0.4, Glycol: -3, JacketLag: 10 * time.Hour, Room: 22, RoomLag: 40 * time.Hour}
	end := (-3.0/10 + 22.0/40) / (1.0/10 + 1.0/40)
	truth := after(t, tank, 20*time.Hour)
	assert.InDelta(t, end+(14.4-end)*math.Exp(-20*(1.0/10+1.0/40)), truth.Celsius, 1e-9)
}

// observed runs a tank and collects its temperature at the end of every minute.
func observed(t *testing.T, tank Tank, lasts time.Duration) (celsius []float64) {
	t.Helper()
	plan := Plan{Start: monday(), Tanks: []Tank{tank}, Observe: func(s Truth) { celsius = append(celsius, s.Celsius) }}
	c, err := New(plan, seeded(1))
	require.NoError(t, err)
	require.NoError(t, c.Each(monday().Add(lasts), func(Arrival) error { return nil }))
	return celsius
}

func TestThermostatMakesASawtooth(t *testing.T) {
	celsius := observed(t, Unitank("FV1"), 72*time.Hour)
	turns, low, high := 0, math.Inf(1), math.Inf(-1)
	for i := 2; i < len(celsius); i++ {
		low, high = min(low, celsius[i]), max(high, celsius[i])
		if (celsius[i]-celsius[i-1])*(celsius[i-1]-celsius[i-2]) < 0 {
			turns++
		}
	}
	assert.InDelta(t, 14.2, low, 0.04)
	assert.InDelta(t, 14.6, high, 0.04)
	assert.Greater(t, turns, 40)
}

func TestCrashGoesToItsSetpointInItsTime(t *testing.T) {
	tank := Unitank("FV1")
	tank.Cooling.Glycol = -8
	tank.Script = []Act{{At: 2 * time.Hour, Do: Crash{Celsius: 4, Over: 20 * time.Hour}}}
	celsius := observed(t, tank, 40*time.Hour)
	assert.InDelta(t, 14.4, celsius[2*60-1], 0.3)
	assert.InDelta(t, 9.2, celsius[12*60-1], 0.3)
	assert.InDelta(t, 4, celsius[24*60-1], 0.3)
	assert.InDelta(t, 4, celsius[40*60-1], 0.3)
}

func TestCoolingFailsAndComesBack(t *testing.T) {
	tank := Unitank("FV1")
	tank.Cooling.RoomSwing = 0
	tank.Script = []Act{{At: 5 * time.Hour, Do: CoolingFails{For: 10 * time.Hour}}}
	celsius := observed(t, tank, 48*time.Hour)
	start := celsius[5*60-1]
	assert.InDelta(t, 21-(21-start)*math.Exp(-10.0/30), celsius[15*60-1], 1e-6)
	assert.InDelta(t, 14.4, celsius[47*60], 0.3)
}

func TestAnOpenDoorWarmsTheRoomForItsTime(t *testing.T) {
	tank := still(Act{At: time.Hour, Do: Door{Celsius: 30, For: 3 * time.Hour}})
	tank.Cooling = Cooling{Room: 14.4, RoomLag: 20 * time.Hour}
	celsius := observed(t, tank, 10*time.Hour)
	peak := 30 - (30-14.4)*math.Exp(-3.0/20)
	assert.InDelta(t, 14.4, celsius[59], 1e-9)
	assert.InDelta(t, peak, celsius[4*60-1], 1e-6)
	assert.Less(t, celsius[10*60-1], peak)
}

func TestRoomIsWarmestInTheAfternoonWhateverTheStart(t *testing.T) {
	c := thermostat{Cooling: Cooling{Room: 20, RoomSwing: 3}, midnight: 10 * time.Hour}
	assert.InDelta(t, 23, c.room(6*time.Hour), 1e-9)
	assert.InDelta(t, 17, c.room(18*time.Hour), 1e-9)
}
