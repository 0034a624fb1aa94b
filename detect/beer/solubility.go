package beer

import "math"

// Limits of CO2 solubility.
const (
	coldestBeer    = -2.0   // degC
	warmestBeer    = 40.0   // degC
	highestPartial = 1000.0 // kPa absolute: Henry's law as published holds below 1 MPa
	warmBeer       = 25.0   // degC, above which no published table of beer was at hand
)

// CO2ModelUncertainty is how far the solubility of CO2 in a real beer may lie from the model, as a share of it, from -2
// to 25 degC and up to 400 kPa gauge: 0.06 either way. It is a judgement from three comparisons: a formula of European
// practice lies 2 % above the model, a commercial lager measured at 6 degC (2.4 g/L per bar) 4 % below, and composition
// alone moves it (Speers and MacIntosh, J. Am. Soc. Brew. Chem. 71 (2013) 242-247).
const CO2ModelUncertainty = 0.06

// CO2WarmUncertainty is the same above 25 degC or above 400 kPa gauge, where the published formulas for beer part by 7 %
// and the gas is up to 3 % from ideal: 0.10.
const CO2WarmUncertainty = 0.10

// highestSure is the gauge pressure, kPa, up to which CO2ModelUncertainty stands.
const highestSure = 400.0

// Henry's constant of CO2 in pure water, ln(H/MPa) against 1/T: Carroll, Slupsky and Mather, "The solubility of carbon
// dioxide in water at low pressure", J. Phys. Chem. Ref. Data 20 (1991) 1201-1209, 273 to 433 K, below 1 MPa.
const (
	carroll0 = -6.8346
	carroll1 = 1.2817e4
	carroll2 = -3.7668e6
	carroll3 = 2.997e8
)

// kPaPerMPa and waterGramsPerMole turn Carroll's mole fraction into grams in a liter.
const (
	kPaPerMPa         = 1000
	waterGramsPerMole = 18.01528
)

// beerFactor is the solubility of CO2 in beer as a share of that in water. It is the one figure fitted here, by least
// squares to the 31 points of the brewers' chart in table I of Miller, BrewingTechniques 2(1) (1994): rms 0.010 volumes,
// worst 0.02.
//
// Why water and a factor: the chart stops at 47 degF, its origin and its beer are unknown, and the formulas fitted to it
// are fits only (the two best known lie 0.012 and 0.047 volumes rms from it). Carroll's equation is measured and
// published over the whole range a tank can have, and with one factor it follows the chart more closely than either, so
// beer's alcohol and extract change the size of the solubility and hardly its slope. It leaves the fit at 25 degC within
// 0.6 % of both, where they were made for.
const beerFactor = 0.941

// Henry returns how much CO2 beer holds at celsius, g/L for each kPa of CO2 (absolute partial pressure): 0.031 at 0 degC,
// 0.016 at 20 degC. Held to -2 to 40 degC. Uncertainty CO2ModelUncertainty, above 25 degC CO2WarmUncertainty. Source:
// Carroll and others 1991 for water, and beerFactor. For the hot path: no error, no allocation.
func Henry(celsius float64) float64 {
	t := clamp(celsius, coldestBeer, warmestBeer)
	k := t + zeroCelsius
	lnMPa := carroll0 + (carroll1+(carroll2+carroll3/k)/k)/k
	molesPerLiter := waterDensity(max(t, coldestWater)) / waterGramsPerMole // CO2 itself is below 1 % of them
	return beerFactor * molesPerLiter * co2GramsPerMole / (math.Exp(lnMPa) * kPaPerMPa)
}

// CO2Solubility returns the CO2, g/L, that beer at celsius (-2 to 40) holds in equilibrium with CO2 of
// partialPressureKPaAbsolute (0 to 1000 kPa). It is the pressure of the CO2 alone, with the atmosphere counted in and air
// left out: what the gauge shows, plus the atmosphere, less the air in the head space. The vapor of the beer (0.6 kPa at
// 0 degC, 2.3 at 20) is left in, as the brewers' chart leaves it. Linear in pressure. Uncertainty and source as Henry.
func CO2Solubility(celsius, partialPressureKPaAbsolute float64) (float64, error) {
	if err := within("beer temperature", "degC", celsius, coldestBeer, warmestBeer); err != nil {
		return 0, err
	}
	if err := within("CO2 pressure", "kPa absolute", partialPressureKPaAbsolute, 0, highestPartial); err != nil {
		return 0, err
	}
	return Henry(celsius) * partialPressureKPaAbsolute, nil
}

// EquilibriumPressure returns the CO2 pressure, kPa absolute, at which beer at celsius (-2 to 40) neither takes up nor
// gives off CO2 when it holds gramsPerLiter: CO2Solubility turned round, up to 1000 kPa. Subtract the atmosphere for what
// a gauge shows over pure CO2. A quiet tank may need days to reach it. Uncertainty and source as Henry.
func EquilibriumPressure(celsius, gramsPerLiter float64) (float64, error) {
	if err := within("beer temperature", "degC", celsius, coldestBeer, warmestBeer); err != nil {
		return 0, err
	}
	if err := within("CO2 content", "g/L", gramsPerLiter, 0, highestPartial*Henry(celsius)); err != nil {
		return 0, err
	}
	return gramsPerLiter / Henry(celsius), nil
}

// CO2UncertaintyAt returns which of the two uncertainties stands, as a share, at celsius and a gauge pressure.
func CO2UncertaintyAt(celsius, gaugeKPa float64) float64 {
	if celsius > warmBeer || gaugeKPa > highestSure {
		return CO2WarmUncertainty
	}
	return CO2ModelUncertainty
}
