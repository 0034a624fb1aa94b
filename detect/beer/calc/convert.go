package calc

import (
	"fmt"

	"spile/detect/beer"
)

// convertible are the kinds of figure that convert takes, by the name it has there.
var convertible = []Input{
	{Name: "gravity", Kind: beer.KindGravity, Optional: true, Meaning: "SG or degP"},
	{Name: "temperature", Kind: beer.KindTemperature, Optional: true, Meaning: "degC, degF or K"},
	{Name: "pressure", Kind: beer.KindPressure, Optional: true, Meaning: "above the atmosphere: kPa, bar, psi, mbar, inHg"},
	{Name: "volume", Kind: beer.KindVolume, Optional: true, Meaning: "L, hL, mL, bbl or gal"},
	{Name: "mass", Kind: beer.KindMass, Optional: true, Meaning: "g, kg, lb or oz"},
	{Name: "co2", Kind: beer.KindCO2, Optional: true, Meaning: "g/L or vol"},
	{Name: "duration", Kind: beer.KindDuration, Optional: true, Meaning: "s, min, h or d"},
	{Name: "difference", Kind: beer.KindDifference, Optional: true, Meaning: "of temperature: K, degC or degF"},
	{Name: "extract", Kind: beer.KindExtract, Optional: true, Meaning: "a fall of the gravity: degP, points or SG"},
	{Name: "length", Kind: beer.KindLength, Optional: true, Meaning: "m or ft"},
}

// unitCalculations are those that change a unit and nothing else.
var unitCalculations = []Calculation{{
	Name: "convert", Meaning: "one figure in every unit of its kind", Example: "temperature=58degF",
	Inputs:  convertible,
	Outputs: []Output{{"(unit)", "", "one field for each unit of that kind, named for the unit"}},
	Formula: []string{
		"psi 6.894757293 kPa, inHg 3.38638 kPa, bbl 31 gal of 3.785411784 L, lb 453.59237 g, ft 0.3048 m",
		fmt.Sprintf("one volume of CO2 is %.4f g/L: ideal gas at 0 degC and 101.325 kPa", beer.GramsPerLiterPerVolume),
		fmt.Sprintf("a point (0.001 SG) of a fall is %v degP, the slope at SG 1.010", beer.PlatoPerPoint),
	},
	Source: []string{"NIST Special Publication 811 (2008), appendix B; beer barrel: 27 CFR 25.11"},
	Range:  "any; degP only for SG 0.985 to 1.110",
	work:   convert,
}}

// convert works the calculation of that name.
func convert(in given, r *Result) error {
	if len(in.values) != 1 {
		return usagef("give one figure, such as temperature=58degF; %d were given", len(in.values))
	}
	for _, c := range convertible {
		if !in.has(c.Name) {
			continue
		}
		value := in.of(c.Name)
		for _, unit := range beer.Units(c.Kind) {
			shown, err := beer.ToUnit(value, unit, c.Kind)
			if err != nil {
				return err
			}
			r.put(unit, shown)
		}
	}
	return nil
}
