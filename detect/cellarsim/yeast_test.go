package cellarsim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// curveOf draws one of the curves.
func curveOf(t *rapid.T) curve {
	total := rapid.Float64Range(0.05, 12).Draw(t, "total")
	long := rapid.Float64Range(2, 100)
	switch rapid.IntRange(0, 2).Draw(t, "curve") {
	case 0:
		return creepCurve{total, long.Draw(t, "ramp"), long.Draw(t, "decay")}
	case 1:
		return primaryCurve{total, long.Draw(t, "half"), long.Draw(t, "spread")}
	}
	return leachCurve{total, long.Draw(t, "lag")}
}

func TestCurvesBeginAtZeroEndWholeAndHaveTheirRate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := curveOf(t)
		x := rapid.Float64Range(0.01, 500).Draw(t, "hours")
		const dx = 1e-4
		assert.Zero(t, c.drop(-1))
		assert.InDelta(t, 0, c.drop(0), 1e-12)
		assert.Zero(t, c.rate(-1))
		assert.InDelta(t, c.whole(), c.drop(1e5), 1e-6*math.Abs(c.whole()))
		slope := (c.drop(x+dx) - c.drop(x-dx)) / (2 * dx)
		assert.InDelta(t, slope, c.rate(x), 1e-3*math.Abs(slope)+1e-5)
		assert.GreaterOrEqual(t, c.rate(x)*c.whole(), 0.0, "it never turns back")
	})
}

func TestCreepPeaksAtTheEndOfItsRamp(t *testing.T) {
	c := creepCurve{total: 0.8, ramp: 16, decay: 30}
	assert.InDelta(t, 0.8/38, c.rate(16), 1e-12)
	assert.InDelta(t, c.rate(16)/2, c.rate(8), 1e-12)
	assert.InDelta(t, c.rate(16)/math.E, c.rate(46), 1e-12)
}

func TestPrimaryFermentationIsHalfDoneByItsHalf(t *testing.T) {
	tank := still(Act{Do: Pitch{Original: 15, End: 3, Half: 48 * time.Hour, Spread: 8 * time.Hour}}, Act{Do: SpundAt{KPa: 90}})
	assert.InDelta(t, 15, after(t, tank, 0).ExtractPlato, 1e-9)
	assert.InDelta(t, 9, after(t, tank, 48*time.Hour).ExtractPlato, 0.05)
	end := after(t, tank, 200*time.Hour)
	assert.InDelta(t, 3, end.ExtractPlato, 1e-3)
	assert.Less(t, end.RatePlatoPerDay, 1e-3)
}

func TestHopsBringExtractButNoGas(t *testing.T) {
	tank := still(Act{Do: Hop{Grams: 9000, Leach: 0.05}})
	end := after(t, tank, 100*time.Hour)
	assert.InDelta(t, tank.ExtractPlato+0.05, end.ExtractPlato, 1e-6)
	assert.Zero(t, end.MadeGrams)
	assert.Zero(t, after(t, tank, 3*time.Hour).RatePlatoPerDay, "what hops leach is no work of yeast")
}

func TestAFinishedCourseIsForgotten(t *testing.T) {
	c := alone(t, still(Act{Do: Creep{Plato: 0.1, Ramp: time.Hour, Decay: time.Hour}}))
	require.NoError(t, c.Each(monday().Add(100*time.Hour), func(Arrival) error { return nil }))
	assert.Empty(t, c.rigs[0].vessel.courses)
}
