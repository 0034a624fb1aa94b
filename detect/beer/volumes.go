package beer

// Molar constants of CO2 and of an ideal gas at the normal state.
const (
	co2GramsPerMole = 44.0095   // IUPAC standard atomic weights
	molarLiters     = 22.413970 // ideal gas at 0 degC and 101.325 kPa, CODATA 2018
)

// GramsPerLiterPerVolume is one volume of CO2 in g/L: a liter of the gas at 0 degC and 101.325 kPa in a liter of beer.
// It is the ideal gas, 1.9635 g; weighed, the real gas is 1.977 g (0.7 % more), and both are in use. The ideal one fits
// the ideal head space of ClosedTank, so that no CO2 is made or lost by changing units.
const GramsPerLiterPerVolume = co2GramsPerMole / molarLiters

// Volumes returns a CO2 content in volumes from one in g/L; see GramsPerLiterPerVolume for the definition. No limits.
func Volumes(gramsPerLiter float64) float64 { return gramsPerLiter / GramsPerLiterPerVolume }

// GramsPerLiter returns a CO2 content in g/L from one in volumes; see GramsPerLiterPerVolume. No limits.
func GramsPerLiter(volumes float64) float64 { return volumes * GramsPerLiterPerVolume }
