package beer

import (
	"fmt"
	"slices"
	"strings"
)

// Factors of the units that are not powers of ten. All are exact by definition, or as printed, in NIST Special
// Publication 811 (2008), appendix B; the beer barrel is 31 gallons by 27 CFR 25.11.
const (
	kPaPerPsi           = 6.894757293
	kPaPerInHg          = 3.38638 // inch of mercury at 32 degF
	litersPerGallon     = 3.785411784
	litersPerBarrel     = 31 * litersPerGallon
	litersPerFluidOunce = litersPerGallon / 128
	gramsPerPound       = 453.59237
	gramsPerOunce       = gramsPerPound / 16
	metersPerFoot       = 0.3048
	kelvinPerDegreeF    = 5.0 / 9
	fahrenheitOfZero    = 32.0
	zeroCelsius         = 273.15 // K
	hoursPerDay         = 24
)

// unit is one way to write a figure: inside = (value + offset) x scale, but for degrees Plato, which goes by the
// polynomial of ApparentPlato.
type unit struct {
	name      string
	spellings []string // other ways to write it; upper and lower case are the same
	scale     float64
	offset    float64
	decimals  int  // printed behind the point
	plato     bool // inside is SG, this is degrees Plato
	rare      bool // read and printed, but not offered in an error
}

// unitsOf holds every unit of every kind, the inside unit first. It is read only.
var unitsOf = map[Kind][]unit{
	KindGravity: {
		{name: "SG", spellings: []string{"sg 20/20", "/"}, scale: 1, decimals: 4},
		{name: "degP", spellings: platoSpellings, plato: true, decimals: 1},
	},
	KindTemperature: {
		{name: "degC", spellings: celsiusSpellings, scale: 1, decimals: 1},
		{name: "degF", spellings: fahrenheitSpellings, scale: kelvinPerDegreeF, offset: -fahrenheitOfZero, decimals: 1},
		{name: "K", spellings: []string{"kelvin"}, scale: 1, offset: -zeroCelsius, decimals: 2, rare: true},
	},
	KindPressure: {
		{name: "kPa", spellings: []string{"kpag"}, scale: 1, decimals: 1},
		{name: "bar", spellings: []string{"barg"}, scale: 100, decimals: 3},
		{name: "psi", spellings: []string{"psig"}, scale: kPaPerPsi, decimals: 1},
		{name: "mbar", spellings: []string{"mbarg"}, scale: 0.1, decimals: 0, rare: true},
		{name: "hPa", scale: 0.1, decimals: 0, rare: true},
		{name: "Pa", scale: 0.001, decimals: 0, rare: true},
		{name: "inHg", scale: kPaPerInHg, decimals: 2, rare: true},
	},
	KindVolume: {
		{name: "L", spellings: []string{"liter", "liters", "litre", "litres"}, scale: 1, decimals: 1},
		{name: "hL", scale: 100, decimals: 1},
		{name: "mL", scale: 0.001, decimals: 0, rare: true},
		{name: "bbl", spellings: []string{"bbls", "barrel", "barrels"}, scale: litersPerBarrel, decimals: 1},
		{name: "fl oz", spellings: []string{"floz"}, scale: litersPerFluidOunce, decimals: 1, rare: true},
		{name: "gal", spellings: []string{"gallon", "gallons"}, scale: litersPerGallon, decimals: 1, rare: true},
	},
	KindMass: {
		{name: "g", scale: 1, decimals: 0},
		{name: "kg", scale: 1000, decimals: 1},
		{name: "lb", spellings: []string{"lbs"}, scale: gramsPerPound, decimals: 1},
		{name: "oz", scale: gramsPerOunce, decimals: 1},
	},
	KindCO2: {
		{name: "g/L", spellings: []string{"g/l", "gpl"}, scale: 1, decimals: 2},
		{name: "vol", spellings: []string{"vols", "volume", "volumes"}, scale: GramsPerLiterPerVolume, decimals: 2},
	},
	KindDuration: {
		{name: "h", spellings: []string{"hr", "hrs", "hour", "hours"}, scale: 1, decimals: 1},
		{name: "d", spellings: []string{"day", "days"}, scale: hoursPerDay, decimals: 1},
		{name: "min", spellings: []string{"m", "mins", "minute", "minutes"}, scale: 1.0 / 60, decimals: 0},
		{name: "s", spellings: []string{"sec", "secs", "second", "seconds"}, scale: 1.0 / 3600, decimals: 0},
	},
	KindDifference: {
		{name: "degC", spellings: celsiusSpellings, scale: 1, decimals: 1}, // what people say; a kelvin is as much
		{name: "K", spellings: []string{"kelvin"}, scale: 1, decimals: 1},
		{name: "degF", spellings: fahrenheitSpellings, scale: kelvinPerDegreeF, decimals: 1},
	},
	KindExtract: {
		{name: "degP", spellings: platoSpellings, scale: 1, decimals: 2},
		{name: "points", spellings: []string{"point", "pt", "pts"}, scale: PlatoPerPoint, decimals: 1},
		{name: "SG", scale: 1000 * PlatoPerPoint, decimals: 4},
	},
	KindLength: {
		{name: "m", spellings: []string{"meter", "meters", "metre", "metres"}, scale: 1, decimals: 0},
		{name: "ft", spellings: []string{"foot", "feet"}, scale: metersPerFoot, decimals: 0},
	},
	KindAlcohol: {
		{name: "%", spellings: []string{"abv", "% abv", "% v/v", "% vol", "percent"}, scale: 1, decimals: 1},
	},
}

// Spellings that two kinds share.
var (
	platoSpellings      = []string{"plato", "°p", "p", "deg p"}
	celsiusSpellings    = []string{"°c", "c", "deg c", "cel", "celsius"}
	fahrenheitSpellings = []string{"°f", "f", "deg f", "fahrenheit"}
)

// in turns a value in this unit into the inside unit.
func (u unit) in(value float64) (float64, error) {
	if u.plato {
		return apparentGravity(value)
	}
	return (value + u.offset) * u.scale, nil
}

// out turns a value in the inside unit into this unit.
func (u unit) out(value float64) (float64, error) {
	if u.plato {
		if err := within("gravity", "SG", value, lowestGravity, highestGravity); err != nil {
			return 0, err
		}
		return ApparentPlato(value), nil
	}
	return value/u.scale - u.offset, nil
}

// is tells whether text names this unit.
func (u unit) is(text string) bool {
	same := func(spelling string) bool { return strings.EqualFold(spelling, text) }
	return same(u.name) || slices.ContainsFunc(u.spellings, same)
}

// find returns the unit of kind that name stands for. An empty name is the inside unit. text is the figure as it was
// written, for the error.
func find(name string, kind Kind, text string) (unit, error) {
	units := unitsOf[kind]
	if len(units) == 0 {
		return unit{}, fmt.Errorf("%q: there is no kind of figure called %q", text, kind)
	}
	if name == "" {
		return units[0], nil
	}
	for _, u := range units {
		if u.is(name) {
			return u, nil
		}
	}
	return unit{}, wrongUnit(name, kind, text)
}

// wrongUnit says why name is no unit of kind: it measures something else, or it is known to nobody.
func wrongUnit(name string, kind Kind, text string) error {
	if slices.ContainsFunc([]string{"psia", "bara", "kpaa"}, func(s string) bool { return strings.EqualFold(s, name) }) {
		return fmt.Errorf("%q is an absolute pressure; give what the gauge shows, the pressure above the atmosphere", text)
	}
	if others := kindsOf(name); len(others) > 0 {
		return fmt.Errorf("%q is %s; %s", text, strings.Join(others, " or "), writtenIn(kind))
	}
	return fmt.Errorf("%q: unknown unit; %s", text, writtenIn(kind))
}

// kindsOf lists, with their article, the kinds that a unit measures.
func kindsOf(name string) []string {
	var found []string
	for _, kind := range kinds {
		if slices.ContainsFunc(unitsOf[kind], func(u unit) bool { return u.is(name) }) {
			found = append(found, article(kind))
		}
	}
	return found
}

// kinds lists every kind in the order in which an error names them.
var kinds = []Kind{
	KindGravity, KindTemperature, KindPressure, KindVolume, KindMass, KindCO2, KindDuration, KindDifference,
	KindExtract, KindLength,
}

// article puts "a" or "an" before a kind; CO2 takes none of them.
func article(kind Kind) string {
	switch kind {
	case KindCO2:
		return "a CO2 content"
	case KindExtract:
		return "an " + string(kind)
	}
	return "a " + string(kind)
}

// writtenIn ends an error with the units that fit: "a temperature is written in degC, degF or K".
func writtenIn(kind Kind) string {
	var names []string
	for _, u := range unitsOf[kind] {
		if !u.rare {
			names = append(names, u.name)
		}
	}
	last := len(names) - 1
	if last < 0 {
		return "no unit fits"
	}
	if last == 0 {
		return article(kind) + " is written in " + names[0]
	}
	return article(kind) + " is written in " + strings.Join(names[:last], ", ") + " or " + names[last]
}
