package beer

import "math"

// StandardAtmosphere is the pressure of air at sea level, kPa absolute (ISO 2533, by definition). Weather moves the real
// one by 3 kPa.
const StandardAtmosphere = 101.325

// Constants of the standard atmosphere below 11 km: ISO 2533:1975.
const (
	seaLevelKelvin  = 288.15
	kelvinPerMeter  = 0.0065
	barometricPower = 5.25588 // g M / (R x kelvinPerMeter)
	lowestAltitude  = -430    // m, the shore of the Dead Sea
	highestAltitude = 5200    // m, above the highest towns
)

// AtmosphereAt returns the pressure of the air, kPa absolute, at an altitude of -430 to 5200 m, in the standard
// atmosphere (ISO 2533). Weather moves it by 3 kPa.
func AtmosphereAt(altitudeMeters float64) (float64, error) {
	if err := within("altitude", "m", altitudeMeters, lowestAltitude, highestAltitude); err != nil {
		return 0, err
	}
	return StandardAtmosphere * math.Pow(1-kelvinPerMeter*altitudeMeters/seaLevelKelvin, barometricPower), nil
}
