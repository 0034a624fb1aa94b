package beer

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The extract table of the trade, as printed to two decimals.
func TestPlatoAgainstPublishedTables(t *testing.T) {
	const asbc = "ASBC extract table (from memory)"
	const crc = "CRC Handbook, density of sucrose (from memory)"
	var points []point
	for _, row := range [][2]float64{
		{1.000, 0}, {1.004, 1.03}, {1.008, 2.05}, {1.010, 2.56}, {1.012, 3.07}, {1.016, 4.08}, {1.020, 5.08}, {1.024, 6.08},
		{1.030, 7.56}, {1.040, 9.99}, {1.044, 10.96}, {1.048, 11.91}, {1.050, 12.39}, {1.060, 14.74}, {1.070, 17.06},
		{1.080, 19.33}, {1.083, 20.01},
	} {
		points = append(points, point{fmt.Sprintf("degP at SG %.3f", row[0]), asbc, row[1], must(Plato(row[0])), 0.006})
	}
	// Above the ASBC table: g/mL at 20 degC of solutions by mass, weighed in air as SG 20/20 is.
	const air, water = 0.0012, 0.99821
	for _, row := range [][2]float64{{10, 1.0381}, {20, 1.0810}, {22, 1.0899}, {24, 1.0990}} {
		sg := (row[1] - air) / (water - air)
		points = append(points, point{fmt.Sprintf("degP at %.4f g/mL", row[1]), crc, row[0], must(Plato(sg)), 0.02})
	}
	hold(t, points)
}

// Two more published fits to the same substance, over the range of each.
func TestPlatoAgainstOtherFits(t *testing.T) {
	buhl := func(s float64) float64 { return ((133.5892*s-622.5576)*s+1102.9079)*s - 613.9427 }
	rational := func(s float64) float64 { return 28.14203*s + 202.4427 - 230.5870/s }
	var points []point
	for sg := 1.0; sg < 1.0835; sg += 0.01 {
		points = append(points, point{fmt.Sprintf("degP at SG %.2f", sg), "Buhl, OSF preprint 9wfym", buhl(sg),
			must(Plato(sg)), 0.004})
	}
	for sg := 1.0; sg < 1.105; sg += 0.02 {
		points = append(points, point{fmt.Sprintf("degP at SG %.2f", sg), "rational fit to NBS Circular 440", rational(sg),
			must(Plato(sg)), 0.003})
	}
	hold(t, points)
}

func TestSGAgainstPublishedInverses(t *testing.T) {
	// A closed form of the trade, within 0.00002 of the table from 0 to 20 degP; its author is unknown.
	closed := func(p float64) float64 { return 1 + p/(258.6-227.1*p/258.2) }
	var points []point
	for p := 1.0; p <= 20; p++ {
		points = append(points, point{fmt.Sprintf("SG at %.0f degP", p), "closed form, common practice", closed(p),
			must(SG(p)), 0.00004})
	}
	// 12 degP wort holds 32.45 lb of extract in a barrel of 31 gallons: ASBC tables. 0.12 x SG x 31 x 8.3220 lb of water.
	points = append(points, point{"lb extract per bbl at 12 degP", "ASBC tables", 32.45,
		0.12 * must(SG(12)) * 31 * 8.3220, 0.01})
	hold(t, points)
}

func TestGravityRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sg := rapid.Float64Range(1.0001, highestGravity).Draw(t, "sg")
		assert.InDelta(t, sg, must(SG(must(Plato(sg)))), 1e-9)
		plato := rapid.Float64Range(0.001, extractOf(highestGravity)).Draw(t, "plato")
		assert.InDelta(t, plato, must(Plato(must(SG(plato)))), 1e-9)
		dry := rapid.Float64Range(lowestGravity, highestGravity).Draw(t, "dry")
		assert.InDelta(t, dry, must(apparentGravity(ApparentPlato(dry))), 1e-9)
		assert.InDelta(t, dry, ApparentGravity(ApparentPlato(dry)), 1e-9)
	})
}

func TestPlatoRises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sg := rapid.Float64Range(lowestGravity, highestGravity-1e-5).Draw(t, "sg")
		step := rapid.Float64Range(1e-6, highestGravity-sg).Draw(t, "step")
		assert.Greater(t, ApparentPlato(sg+step), ApparentPlato(sg))
	})
}

func TestPlatoPerPointIsTheSlope(t *testing.T) {
	assert.InDelta(t, PlatoPerPoint, extractSlope(1.010)/1000, 0.0005)
	for _, sg := range []float64{1.000, 1.020} {
		assert.InEpsilon(t, PlatoPerPoint, extractSlope(sg)/1000, 0.02)
	}
	assert.InEpsilon(t, PlatoPerPoint, extractSlope(1.040)/1000, 0.055)
}

func TestGravityEdges(t *testing.T) {
	assert.Zero(t, must(Plato(1.000)))
	assert.InDelta(t, 1.000, must(SG(0)), 2e-5)
	assert.InDelta(t, 25.943, must(Plato(1.110)), 0.001)
	for _, sg := range append(noNumbers(), 0, 0.9999, 1.1101, 1048) {
		_, err := Plato(sg)
		refused(t, err, "the formula holds from 1 to 1.11 SG")
	}
	for _, plato := range append(noNumbers(), -0.001, 25.95) {
		_, err := SG(plato)
		refused(t, err, "the formula holds from 0 to 25.94 degP")
	}
	assert.Equal(t, ApparentPlato(lowestGravity), ApparentPlato(0.5))
	assert.Equal(t, ApparentPlato(highestGravity), ApparentPlato(2))
	assert.InDelta(t, -0.52, ApparentPlato(0.998), 0.01)
	_, err := FromUnit(-6, "degP", KindGravity)
	require.ErrorIs(t, err, ErrRange)
}
