package beer

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The pressure at 100 degF that the two formulas of the trade give beyond their charts, without head space.
func TestPackageAgainstExtrapolatedCharts(t *testing.T) {
	var points []point
	for _, c := range []struct{ volumes, american, european float64 }{
		{2.4, 51, 55}, {2.6, 56, 61}, {3.0, 67, 72}, {3.5, 80, 87}, {3.85, 90, 97}, {4.5, 108, 116},
	} {
		stored, err := Package{GramsPerLiter: GramsPerLiter(c.volumes), FillCelsius: 2}.Store(fahrenheit(100), 0)
		require.NoError(t, err)
		name := fmt.Sprintf("psig at 100 degF from %.2f volumes", c.volumes)
		got := stored.GaugeKPa / kPaPerPsi
		points = append(points,
			point{name, "exponential fit to the US chart", c.american, got, 0.03 * (c.american + 14.7)},
			point{name, "European formula", c.european, got, CO2WarmUncertainty * (c.european + 14.7)})
		assert.InEpsilon(t, (stored.GaugeKPa+StandardAtmosphere)/(1-CO2WarmUncertainty), stored.HighKPa+StandardAtmosphere, 1e-9)
	}
	hold(t, points)
}

// A can of 355 mL with 15 mL above the beer, weighed part by part.
func TestPackageAgainstAWeighedCan(t *testing.T) {
	can := Package{GramsPerLiter: 5, FillCelsius: 2, HeadspaceShare: 15.0 / 355, AirKPa: 10}
	stored, err := can.Store(38, 2)
	require.NoError(t, err)
	const gasConstant, molar = 8.314462618, 44.0095
	beer := 0.355 // L at filling
	gas := (101.325 - 10) * 0.015 * molar / (gasConstant * 275.15)
	room := 0.015 - beer*(kell(2)/kell(38)-1)
	air := 10 * 0.015 / room * 311.15 / 275.15
	partial := stored.GaugeKPa + 101.325 - air
	held := partial*Henry(38)*beer + partial*room*molar/(gasConstant*311.15)
	const waters = 5e-5 // Kell's and Tanaka's part by so much
	hold(t, []point{{"CO2 found in the can, g", "CO2 put in, weighed", 5*beer + 2*beer + gas, held, waters}})
	assert.InDelta(t, (5*beer+2*beer+gas)/beer, stored.GramsPerLiter, 1e-9)
}

func TestPackageFollowsCommonSense(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		can := Package{
			GramsPerLiter:  rapid.Float64Range(3, 6).Draw(t, "filled"),
			FillCelsius:    rapid.Float64Range(-1, 6).Draw(t, "fill"),
			HeadspaceShare: rapid.Float64Range(0.02, 0.2).Draw(t, "share"),
		}
		celsius := rapid.Float64Range(coldestBeer, 37).Draw(t, "celsius")
		made := rapid.Float64Range(0, 2).Draw(t, "made")
		now, err := can.Store(celsius, made)
		require.NoError(t, err)
		warmer, err := can.Store(celsius+1, made)
		require.NoError(t, err)
		further, err := can.Store(celsius, made+0.1)
		require.NoError(t, err)
		assert.Greater(t, warmer.GaugeKPa, now.GaugeKPa)
		assert.Greater(t, further.GaugeKPa, now.GaugeKPa)
		assert.Greater(t, now.HighKPa, now.GaugeKPa)

		bare := can
		bare.HeadspaceShare = 0
		without, err := bare.Store(celsius, made)
		require.NoError(t, err)
		if now.GaugeKPa > 30 {
			assert.Less(t, now.GaugeKPa, without.GaugeKPa, "leaving the head space out errs to the high side")
		}
	})
}

func TestPackageEdges(t *testing.T) {
	tight := Package{GramsPerLiter: 5, FillCelsius: 2, HeadspaceShare: 0.005}
	_, err := tight.Store(38, 0)
	refused(t, err, "the beer grows by 0.70 % and fills its head space of 0.50 %")
	_, err = Package{GramsPerLiter: 12, FillCelsius: 2}.Store(38, 0)
	refused(t, err, "keep them cold, and shielded")
	for _, bad := range append(noNumbers(), -3, 200) {
		good := Package{GramsPerLiter: 5, FillCelsius: 2}
		_, err = good.Store(bad, 0)
		refused(t, err, "storage temperature")
		_, err = good.Store(20, bad)
		refused(t, err, "CO2 made")
		_, err = Package{GramsPerLiter: bad, FillCelsius: 2}.Store(20, 0)
		refused(t, err, "CO2 at filling")
		_, err = Package{GramsPerLiter: 5, FillCelsius: bad}.Store(20, 0)
		refused(t, err, "filling temperature")
		_, err = Package{GramsPerLiter: 5, HeadspaceShare: bad}.Store(20, 0)
		refused(t, err, "head space as a share")
		_, err = Package{GramsPerLiter: 5, AirKPa: bad}.Store(20, 0)
		refused(t, err, "air at filling")
	}
}
