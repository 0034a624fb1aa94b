package beer

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// kell is the older formula of water density: Kell, J. Chem. Eng. Data 20 (1975) 97-105, quoted by Jones and Harris,
// J. Res. NIST 97 (1992) 335-340. A reprint of the latter has 16.897850e-3 below the line, which is wrong by 0.27 kg/m3
// at 20 degC.
func kell(t float64) float64 {
	above := 999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-t*280.54253e-12))))
	return above / (1 + 16.879850e-3*t)
}

func TestWaterDensityAgainstKell(t *testing.T) {
	var points []point
	for _, celsius := range []float64{0, 2, 4, 10, 15, 15.5556, 17.5, 20, 25, 40} {
		points = append(points, point{fmt.Sprintf("water at %.4g degC, kg/m3", celsius), "Kell 1975",
			kell(celsius), must(WaterDensity(celsius)), 0.004}) // Kell's greatest density is 0.003 lower, by its water
	}
	hold(t, points)
}

func TestWaterDensityAgainstIAPWS(t *testing.T) {
	var points []point
	for _, row := range golden(t, "water_density.csv") {
		points = append(points, point{fmt.Sprintf("water at %.6g degC, kg/m3", row[0]), "IAPWS-95, python3-iapws",
			row[1], must(WaterDensity(row[0])), 0.0015})
	}
	hold(t, points)
}

func TestCorrectHydrometerAgainstFactors(t *testing.T) {
	// By the handbook's principle, worked with Kell's water: the density read, over that of water as warm as the beer.
	byHand := func(reading, celsius, calibration float64) float64 {
		density := reading * kell(calibration) / (1 + 25e-6*(celsius-calibration))
		return density / kell(celsius)
	}
	var points []point
	for _, calibration := range []float64{20, 15.5556} {
		for _, celsius := range []float64{0, 2, 4, 10, 15, 20, 25, 40} {
			points = append(points, point{
				fmt.Sprintf("1.0120 read at %.3g degC, made for %.3g", celsius, calibration), "principle, with Kell 1975",
				byHand(1.012, celsius, calibration), must(CorrectHydrometer(1.012, celsius, calibration)), 0.00001})
		}
	}
	hold(t, points)
}

func TestCorrectHydrometerKeepsItsPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sg := rapid.Float64Range(1.0, 1.1).Draw(t, "sg")
		warm := rapid.Float64Range(6, 39).Draw(t, "celsius")
		calibration := rapid.Float64Range(0, 40).Draw(t, "calibration")
		assert.InDelta(t, sg, must(CorrectHydrometer(sg, calibration, calibration)), 1e-12, "right where it was made")
		assert.Greater(t, HydrometerFactor(warm+1, calibration), HydrometerFactor(warm, calibration),
			"a warmer beer that reads the same is denser; glass moves the turn from 4 to 5.6 degC")
	})
}

func TestWaterEdges(t *testing.T) {
	for _, celsius := range append(noNumbers(), -0.1, 40.1) {
		_, err := WaterDensity(celsius)
		refused(t, err, "the formula holds from 0 to 40 degC")
		_, err = CorrectHydrometer(1.010, celsius, 20)
		refused(t, err, "beer temperature")
		_, err = CorrectHydrometer(1.010, 20, celsius)
		refused(t, err, "calibration")
	}
	_, err := CorrectHydrometer(10.10, 20, 20)
	refused(t, err, "reading 10.1 SG")
	assert.Equal(t, HydrometerFactor(0, 20), HydrometerFactor(-5, 20))
	assert.Equal(t, HydrometerFactor(40, 20), HydrometerFactor(80, 20))
}

func TestAtmosphereAgainstISO2533(t *testing.T) {
	hold(t, []point{
		{"atmosphere at 0 m, kPa", "ISO 2533 (from memory)", 101.325, must(AtmosphereAt(0)), 0.001},
		{"atmosphere at 1000 m, kPa", "ISO 2533 (from memory)", 89.875, must(AtmosphereAt(1000)), 0.005},
		{"atmosphere at 2000 m, kPa", "ISO 2533 (from memory)", 79.495, must(AtmosphereAt(2000)), 0.005},
		{"atmosphere at 5000 m, kPa", "ISO 2533 (from memory)", 54.020, must(AtmosphereAt(5000)), 0.005},
		// The brewers' chart adds 0.5 psi to the gauge for each 1000 ft.
		{"psi lost in 1000 ft", "Miller, BrewingTechniques 2(1) 1994", 0.5,
			(StandardAtmosphere - must(AtmosphereAt(304.8))) / kPaPerPsi, 0.04},
	})
	for _, meters := range append(noNumbers(), -500, 6000) {
		_, err := AtmosphereAt(meters)
		refused(t, err, "altitude")
	}
}
