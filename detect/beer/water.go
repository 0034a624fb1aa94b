package beer

// Limits of water density and of a hydrometer's correction, degC.
const (
	coldestWater = 0.0
	warmestWater = 40.0
)

// Constants of the CIPM formula for water density: Tanaka, Girard, Davis, Peuto and Bignell, "Recommended table for the
// density of water between 0 C and 40 C", Metrologia 38 (2001) 301-309.
const (
	tanakaA1 = -3.983035  // degC
	tanakaA2 = 301.797    // degC
	tanakaA3 = 522528.9   // degC2
	tanakaA4 = 69.34881   // degC
	tanakaA5 = 999.974950 // kg/m3, the greatest density
)

// glassExpansion is the cubic expansion of a hydrometer's soda-lime glass, 1/K: common practice of hydrometer standards.
// A stainless float expands twice as much, borosilicate half; over 20 K that is 0.0005 SG and 0.0003 SG.
const glassExpansion = 25e-6

// WaterDensity returns the density of pure water, kg/m3, at 0 to 40 degC and one atmosphere. Error below 0.001 kg/m3.
// Source: Tanaka and others, Metrologia 38 (2001) 301-309.
func WaterDensity(celsius float64) (float64, error) {
	if err := within("water temperature", "degC", celsius, coldestWater, warmestWater); err != nil {
		return 0, err
	}
	return waterDensity(celsius), nil
}

// waterDensity is the formula without limits. Two degrees below zero, where beer is still liquid, it stays smooth.
func waterDensity(t float64) float64 {
	return tanakaA5 * (1 - (t+tanakaA1)*(t+tanakaA1)*(t+tanakaA2)/(tanakaA3*(t+tanakaA4)))
}

// HydrometerFactor is what a hydrometer's reading in beer at celsius is multiplied by to be SG 20/20, for a hydrometer
// right at calibrationCelsius. Both are held to 0 to 40 degC. See CorrectHydrometer, which is the form with an error.
func HydrometerFactor(celsius, calibrationCelsius float64) float64 {
	t := clamp(celsius, coldestWater, warmestWater)
	tc := clamp(calibrationCelsius, coldestWater, warmestWater)
	return waterDensity(tc) / waterDensity(t) / (1 + glassExpansion*(t-tc))
}

// CorrectHydrometer returns the gravity, SG 20/20, of beer at celsius in which a glass hydrometer, right at
// calibrationCelsius, reads sg: the reading's density by the hydrometer, divided by the density of water as warm as the
// beer. Both temperatures 0 to 40 degC, sg 0.985 to 1.110.
//
// It takes beer to expand as water does. Beer with 5 % alcohol expands more, so the correction is good to about 0.0003
// within 10 K of 20 degC and falls short by up to 0.001 at 2 degC (from memory; measure it on the tank). Source of the
// principle: the buoyancy of a float of known mass; water as WaterDensity; glass 25e-6 per K.
func CorrectHydrometer(sg, celsius, calibrationCelsius float64) (float64, error) {
	if err := within("reading", "SG", sg, lowestGravity, highestGravity); err != nil {
		return 0, err
	}
	if err := within("beer temperature", "degC", celsius, coldestWater, warmestWater); err != nil {
		return 0, err
	}
	if err := within("calibration", "degC", calibrationCelsius, coldestWater, warmestWater); err != nil {
		return 0, err
	}
	return sg * HydrometerFactor(celsius, calibrationCelsius), nil
}
