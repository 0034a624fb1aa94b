package beer

import "fmt"

// Balling's mass balance of fermentation, g: from 2.0665 of extract come 1 of alcohol, 0.9565 of CO2 and 0.11 of yeast.
// Balling (1843 to 1865), as printed and examined by Nielsen, Kristiansen, Krieger Lassen and Erikstrom, "Balling's
// Formula - scrutiny of a brewing dogma", Scandinavian School of Brewing. That page prints 0.9695 for CO2 in one
// sentence; only 0.9565 closes the sum.
const (
	extractPerAlcohol = 2.0665
	co2PerAlcohol     = 0.9565
	yeastPerAlcohol   = 0.11
)

// What of 100 g of wort leaves as CO2 and yeast, per gram of alcohol: 1.0665 g, and the same per 100.
const (
	lossPerAlcohol = co2PerAlcohol + yeastPerAlcohol
	lossPerPlato   = lossPerAlcohol / 100
)

// Real extract of beer from its original and apparent extract: the mean form of Balling's attenuation factors, common
// practice; their history and tables in Savel, Kosin and Broz, Kvasny Prumysl 61 (2015) 120-128. A form whose factor
// grows with the original extract lies 0.05 to 0.16 degP above it from 10 to 18 degP.
const (
	originalShare = 0.1808
	apparentShare = 1 - originalShare
)

// Densities at 20 degC, g/mL, that turn alcohol by weight into alcohol by volume.
const (
	waterAt20   = 0.99821 // Tanaka and others 2001, as WaterDensity
	ethanolAt20 = 0.78924 // OIML R 22, International Alcoholometric Tables
)

// What stands for a beer about which nothing is logged.
const (
	// AssumedOriginalPlato is the original extract taken where none is known, degP. It hardly matters: the CO2 of a drop in
	// gravity differs by 1 % from 5 to 20 degP, the alcohol by 3 %.
	AssumedOriginalPlato = 12.0
	// finishedGravity is the gravity of beer at the end of fermentation, SG, where only a drop is known; beer from 1.004
	// to 1.020 differs from it by 2.5 %.
	finishedGravity = 1.010
)

// gramsPerLiterPerPercent turns a percentage by weight and a density into g/L: 1 % of 1 kg/L is 10 g/L.
const gramsPerLiterPerPercent = 10

// Fermentation is what Balling's balance says of a wort that has become beer.
type Fermentation struct {
	OriginalPlato       float64 // original extract, degP
	ApparentPlato       float64 // apparent extract of the beer, degP; below zero in a dry beer
	RealExtract         float64 // real extract of the beer, degP
	AlcoholByWeight     float64 // % w/w
	AlcoholByVolume     float64 // % v/v at 20 degC
	ApparentAttenuation float64 // % of the original extract
	RealAttenuation     float64 // % of the original extract
	CO2GramsPerLiter    float64 // CO2 made in all, g per L of beer; most of it has left the tank
}

// Balling returns alcohol, extracts, attenuations and CO2 of a beer that went from original gravity og to fg, SG 20/20:
// og 1.000 to 1.110, fg 0.985 to og. Alcohol is good to about 0.2 % v/v for ordinary beer (judgement from the spread of
// the published factors). Sources: the constants above.
func Balling(og, fg float64) (Fermentation, error) {
	original, err := Plato(og)
	if err != nil {
		return Fermentation{}, fmt.Errorf("original gravity: %w", err)
	}
	if fg > og {
		return Fermentation{}, fmt.Errorf("%w: the beer (SG %.4f) is denser than its wort (SG %.4f)", ErrRange, fg, og)
	}
	if err := within("end gravity", "SG", fg, lowestGravity, highestGravity); err != nil {
		return Fermentation{}, err
	}
	f := Fermentation{OriginalPlato: original, ApparentPlato: min(original, ApparentPlato(fg))}
	eaten := apparentShare * (original - f.ApparentPlato)
	f.RealExtract = original - eaten // is originalShare x original + apparentShare x apparent
	f.AlcoholByWeight = eaten / (extractPerAlcohol - lossPerPlato*original)
	f.AlcoholByVolume = f.AlcoholByWeight * fg * waterAt20 / ethanolAt20
	f.CO2GramsPerLiter = co2PerAlcohol * f.AlcoholByWeight * gramsPerLiterPerPercent * fg * waterAt20
	if original > 0 {
		f.ApparentAttenuation = 100 * (original - f.ApparentPlato) / original
		f.RealAttenuation = 100 * (original - f.RealExtract) / original
	}
	return f, nil
}

// OriginalExtract returns the original extract, degP, of a beer with alcohol (% w/w) and real extract (degP): Balling's
// formula itself. Alcohol 0 to 12, extract 0 to 26.
func OriginalExtract(alcoholByWeight, realExtract float64) (float64, error) {
	if err := within("alcohol", "% w/w", alcoholByWeight, 0, strongestBeer); err != nil {
		return 0, err
	}
	if err := within("real extract", "degP", realExtract, 0, heaviestExtract); err != nil {
		return 0, err
	}
	return originalExtract(alcoholByWeight, realExtract), nil
}

// originalExtract is Balling's formula without limits.
func originalExtract(alcoholByWeight, realExtract float64) float64 {
	return 100 * (extractPerAlcohol*alcoholByWeight + realExtract) / (100 + lossPerAlcohol*alcoholByWeight)
}

// alcoholPerPlato is the alcohol, % w/w, for each degP by which the apparent extract lies below the original.
func alcoholPerPlato(originalPlato float64) float64 {
	return apparentShare / (extractPerAlcohol - lossPerPlato*originalPlato)
}

// originalOrAssumed puts AssumedOriginalPlato where the original extract is not known: zero, less, or no number.
func originalOrAssumed(originalPlato float64) float64 {
	if !(originalPlato > 0) {
		return AssumedOriginalPlato
	}
	return min(originalPlato, heaviestExtract)
}

// finished returns a wort's alcohol at finishedGravity, % w/w, and what each further degP adds to it.
func finished(originalPlato float64) (alcohol, perPlato float64) {
	original := originalOrAssumed(originalPlato)
	perPlato = alcoholPerPlato(original)
	return perPlato * max(0, original-extractOf(finishedGravity)), perPlato
}

// CO2PerPlato returns the CO2, g per L of beer, that yeast makes of each further degP of apparent extract at the end of
// fermentation, in a wort of original extract originalPlato: 3.9 in any wort. Zero stands for one that is not known, and
// takes AssumedOriginalPlato; above 26 degP it gives the value at 26. Source: Balling's balance, as Balling, between two
// gravities; good to about 5 %.
//
// Two shortcuts give more, and are wrong: 5 g/L per degP is for real extract, while a hydrometer shows apparent extract,
// which falls further; and 4.1 comes of the rise in % w/w alone, part of which is the beer growing lighter as its CO2
// and yeast leave it.
func CO2PerPlato(originalPlato float64) float64 {
	alcohol, perPlato := finished(originalPlato)
	newAlcohol := perPlato / (1 + lossPerAlcohol*alcohol/100) // g made in 100 g of beer
	return co2PerAlcohol * newAlcohol * gramsPerLiterPerPercent * finishedGravity * waterAt20
}

// AlcoholPerPlato returns by how much each further degP of apparent extract raises the alcohol, % v/v: 0.52 in a wort of
// 12 degP. Original extract, limits and source as CO2PerPlato; it is the slope of Balling's AlcoholByVolume, in which
// the gravity falls too.
func AlcoholPerPlato(originalPlato float64) float64 {
	alcohol, perPlato := finished(originalPlato)
	gravityPerPlato := 1 / extractSlope(finishedGravity)
	return (perPlato*finishedGravity - alcohol*gravityPerPlato) * waterAt20 / ethanolAt20
}

// Drop is what a further fall of the apparent extract makes.
type Drop struct {
	CO2GramsPerLiter float64 // g per L of beer
	AlcoholByVolume  float64 // % v/v added
	OriginalPlato    float64 // the original extract reckoned with, degP
	Assumed          bool    // OriginalPlato is AssumedOriginalPlato, because none was given
}

// FurtherDrop returns what a fall of the apparent extract by plato (0 to 26 degP) makes in a wort of originalPlato; zero
// means not known, and the answer says that it was assumed.
func FurtherDrop(plato, originalPlato float64) (Drop, error) {
	if err := within("drop", "degP", plato, 0, heaviestExtract); err != nil {
		return Drop{}, err
	}
	if err := within("original extract", "degP", originalPlato, 0, heaviestExtract); err != nil {
		return Drop{}, err
	}
	return Drop{
		CO2GramsPerLiter: plato * CO2PerPlato(originalPlato),
		AlcoholByVolume:  plato * AlcoholPerPlato(originalPlato),
		OriginalPlato:    originalOrAssumed(originalPlato),
		Assumed:          originalPlato == 0,
	}, nil
}
