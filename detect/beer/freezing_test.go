package beer

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestFreezingPointAgainstTables(t *testing.T) {
	var points []point
	for _, c := range [][2]float64{{1, -0.40}, {2, -0.81}, {3, -1.23}, {4, -1.65}, {5, -2.09}, {6, -2.54}, {8, -3.47}, {10, -4.47}} {
		best, _, err := FreezingPoint(c[0], 0)
		require.NoError(t, err)
		points = append(points, point{fmt.Sprintf("freezing of %.0f %% w/w ethanol, degC", c[0]),
			"CRC Handbook (from memory)", c[1], best, 0.03 * -c[1]})
	}
	for _, c := range [][2]float64{{5, -0.29}, {10, -0.63}} {
		best, _, err := FreezingPoint(0, c[0])
		require.NoError(t, err)
		points = append(points, point{fmt.Sprintf("freezing of %.0f %% w/w maltose, degC", c[0]),
			"CRC Handbook (from memory)", c[1], best, 0.05})
	}
	hold(t, points)
}

// The best estimate lies between the two printings of the old rule; the safe one on the warmer.
func TestFreezingPointBetweenTheRules(t *testing.T) {
	for _, beer := range [][2]float64{{12, 4.0}, {14, 4.8}, {10, 3.3}, {18, 6.1}} {
		original, alcohol := beer[0], beer[1]
		residue := original*(1+0.010665*alcohol) - 2.0665*alcohol // Balling's formula, solved
		best, safe, err := FreezingPoint(alcohol, residue)
		require.NoError(t, err)
		assert.Less(t, best, -0.42*alcohol+0.04*original+0.2)
		assert.Greater(t, best, -(0.42*alcohol + 0.04*original + 0.2))
		assert.InDelta(t, -0.42*alcohol+0.04*original+0.2, safe, 1e-9)
	}
}

func TestFreezingAlarmIsOnTheSafeSide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		alcohol := rapid.Float64Range(0, strongestBeer-0.1).Draw(t, "alcohol")
		residue := rapid.Float64Range(0, heaviestExtract-0.1).Draw(t, "residue")
		best, safe, err := FreezingPoint(alcohol, residue)
		require.NoError(t, err)
		assert.GreaterOrEqual(t, safe, best)
		assert.LessOrEqual(t, safe, 0.0)
		stronger, _, err := FreezingPoint(alcohol+0.1, residue)
		require.NoError(t, err)
		assert.Less(t, stronger, best)
		heavier, _, err := FreezingPoint(alcohol, residue+0.1)
		require.NoError(t, err)
		assert.Less(t, heavier, best)
	})
	_, safe, err := FreezingPoint(0.3, 5)
	require.NoError(t, err)
	assert.Zero(t, math.Abs(safe), "beer without alcohol is watched from 0 degC")
	for _, bad := range append(noNumbers(), -1, 40) {
		_, _, err := FreezingPoint(bad, 4)
		refused(t, err, "alcohol")
		_, _, err = FreezingPoint(4, bad)
		refused(t, err, "real extract")
	}
}
