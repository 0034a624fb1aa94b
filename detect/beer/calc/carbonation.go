package calc

import (
	"spile/detect/beer"
	"spile/detect/caution"
)

// carroll is the source of the solubility, in every calculation that rests on it.
const carroll = "water: Carroll, Slupsky and Mather, J. Phys. Chem. Ref. Data 20 (1991) 1201-1209; beer: 0.941 of it, " +
	"fitted to the chart in Miller, BrewingTechniques 2(1) (1994), table I"

const henryFormula = "k = 0.941 x water / 18.01528 x 44.0095 / (1000 H), " +
	"ln H = -6.8346 + 12817 / T - 3766800 / T^2 + 299700000 / T^3"

// Inputs that several calculations take.
var (
	temperatureInput = Input{Name: "temperature", Kind: beer.KindTemperature, Meaning: "of the beer"}
	altitudeInput    = Input{Name: "altitude", Kind: beer.KindLength, Default: "0 m", Meaning: "of the cellar, for the atmosphere"}
	inertInput       = Input{Name: "inert", Kind: beer.KindPressure, Default: "0 kPa",
		Meaning: "air and nitrogen in the head space, their own absolute pressure"}
	volumesInput = Input{Name: "volumes", Kind: beer.KindCO2, Bare: "vol", Meaning: "CO2 in the beer, volumes or g/L"}
)

// carbonationCalculations are those of CO2 in beer.
var carbonationCalculations = []Calculation{
	{
		Name: "co2", Meaning: "CO2 that beer holds under a head pressure", Example: "temperature=38degF pressure=12psi",
		Inputs: []Input{
			temperatureInput,
			{Name: "pressure", Kind: beer.KindPressure, Meaning: "head pressure on the gauge"},
			altitudeInput, inertInput,
		},
		Outputs: []Output{
			{"grams_per_liter", "g/L", "CO2 in equilibrium"},
			{"volumes", "vol", "the same in volumes"},
			{"volumes_low", "vol", "for a beer that takes up less than the model"},
			{"volumes_high", "vol", "for a beer that takes up more"},
			{"uncertainty", "", "of the model, as a share"},
		},
		Formula: []string{"CO2 = k (gauge + atmosphere - inert)", henryFormula},
		Source:  []string{carroll},
		Range:   "-2 to 40 degC, CO2 up to 1000 kPa absolute; within 6 % to 25 degC and 400 kPa, 10 % beyond",
		work:    co2,
	},
	equilibrium("pressure", "head pressure at which beer neither takes up nor loses CO2"),
	equilibrium("spund", "pressure to set on a valve so that beer keeps so much CO2; the same as pressure"),
	{
		Name: "atmosphere", Meaning: "pressure of the air at an altitude", Example: "altitude=1500m",
		Inputs:  []Input{{Name: "altitude", Kind: beer.KindLength, Meaning: "above the sea"}},
		Outputs: []Output{{"kpa", "kPa absolute", "standard atmosphere"}, {"psi", "psi absolute", "the same"}},
		Formula: []string{"p = 101.325 (1 - 0.0065 h / 288.15)^5.25588"},
		Source:  []string{"ISO 2533, standard atmosphere"},
		Range:   "-430 to 5200 m; weather moves it by 3 kPa",
		work: func(in given, r *Result) error {
			kpa, err := beer.AtmosphereAt(in.of("altitude"))
			if err != nil {
				return err
			}
			r.step("p = 101.325 x (1 - 0.0065 x %v / 288.15)^5.25588 = %v kPa", in.of("altitude"), kpa)
			return putPressure(r, "", kpa)
		},
	},
}

// equilibrium is one calculation under two names.
func equilibrium(name, meaning string) Calculation {
	return Calculation{
		Name: name, Meaning: meaning, Example: "temperature=38degF volumes=2.5",
		Inputs: []Input{temperatureInput, volumesInput, altitudeInput, inertInput},
		Outputs: []Output{
			{"kpa", "kPa gauge", "equilibrium pressure"},
			{"psi", "psi gauge", "the same"},
			{"kpa_low", "kPa gauge", "for a beer that takes up more CO2 than the model"},
			{"kpa_high", "kPa gauge", "for a beer that takes up less"},
			{"grams_per_liter", "g/L", "CO2 in the beer"},
			{"uncertainty", "", "of the model, as a share"},
		},
		Formula: []string{"gauge = CO2 / k + inert - atmosphere", henryFormula},
		Source:  []string{carroll},
		Range:   "-2 to 40 degC, CO2 up to 1000 kPa absolute; k within 6 % to 25 degC and 400 kPa, 10 % beyond",
		Caution: caution.ReckonedPressure,
		work:    equilibriumPressure,
	}
}

// co2 works the calculation of that name.
func co2(in given, r *Result) error {
	atmosphere, err := beer.AtmosphereAt(in.of("altitude"))
	if err != nil {
		return err
	}
	t, gauge, inert := in.of("temperature"), in.of("pressure"), in.of("inert")
	partial := gauge + atmosphere - inert
	grams, err := beer.CO2Solubility(t, partial)
	if err != nil {
		return err
	}
	doubt := beer.CO2UncertaintyAt(t, gauge)
	r.put("grams_per_liter", grams)
	r.put("volumes", beer.Volumes(grams))
	r.put("volumes_low", beer.Volumes(grams)*(1-doubt))
	r.put("volumes_high", beer.Volumes(grams)*(1+doubt))
	r.put("uncertainty", doubt)
	stepHenry(r, t)
	r.step("CO2's own pressure = %v + %v - %v = %v kPa absolute", gauge, atmosphere, inert, partial)
	r.step("CO2 = %v x %v = %v g/L", beer.Henry(t), partial, grams)
	stepVolumes(r, grams)
	return nil
}

// equilibriumPressure works "pressure" and "spund".
func equilibriumPressure(in given, r *Result) error {
	atmosphere, err := beer.AtmosphereAt(in.of("altitude"))
	if err != nil {
		return err
	}
	t, grams, inert := in.of("temperature"), in.of("volumes"), in.of("inert")
	partial, err := beer.EquilibriumPressure(t, grams)
	if err != nil {
		return err
	}
	gauge := partial + inert - atmosphere
	doubt := beer.CO2UncertaintyAt(t, gauge)
	if err := putPressure(r, "", gauge); err != nil {
		return err
	}
	r.put("kpa_low", partial/(1+doubt)+inert-atmosphere)
	r.put("kpa_high", partial/(1-doubt)+inert-atmosphere)
	r.put("grams_per_liter", grams)
	r.put("uncertainty", doubt)
	stepVolumes(r, grams)
	stepHenry(r, t)
	r.step("gauge = %v / %v + %v - %v = %v kPa", grams, beer.Henry(t), inert, atmosphere, gauge)
	return nil
}

// putPressure adds a pressure in kPa and psi under names that begin with prefix.
func putPressure(r *Result, prefix string, kpa float64) error {
	psi, err := beer.ToUnit(kpa, "psi", beer.KindPressure)
	r.put(prefix+"kpa", kpa)
	r.put(prefix+"psi", psi)
	return err
}

// stepHenry writes out Henry's constant at a temperature.
func stepHenry(r *Result, celsius float64) {
	kelvin, k := celsius+273.15, beer.Henry(celsius)
	water, err := beer.WaterDensity(max(0, celsius))
	if err != nil {
		return // the calculation itself has refused the temperature
	}
	h := 0.941 * water / 18.01528 * 44.0095 / k / 1000
	r.step("H = exp(-6.8346 + 12817 / %[1]v - 3766800 / %[1]v^2 + 299700000 / %[1]v^3) = %[2]v MPa", kelvin, h)
	r.step("k = 0.941 x %v / 18.01528 x 44.0095 / (1000 x %v) = %v g/L per kPa", water, h, k)
}
