package calc

import (
	"spile/detect/beer"
	"spile/detect/caution"
)

// Inputs of a closed tank.
var tankInputs = []Input{
	temperatureInput,
	{Name: "pressure", Kind: beer.KindPressure, Meaning: "head pressure on the gauge"},
	{Name: "beer", Kind: beer.KindVolume, Meaning: "volume of beer"},
	{Name: "headspace", Kind: beer.KindVolume, Meaning: "volume of gas above it"},
	altitudeInput, inertInput,
}

const (
	tankFormula = "CO2 = p k beer + p d headspace, d = 44.0095 / (8.314462618 T), an ideal gas"
	tankRange   = "-2 to 40 degC, CO2 up to 1000 kPa absolute; in equilibrium, which a quiet tank reaches late"
)

// tankCalculations are those of a tank that is shut.
var tankCalculations = []Calculation{
	{
		Name: "balance", Meaning: "where the CO2 of a closed tank is",
		Example: "temperature=14.4degC pressure=80kPa beer=20hL headspace=2hL",
		Inputs:  tankInputs,
		Outputs: []Output{
			{"dissolved_grams", "g", "CO2 in the beer"},
			{"headspace_grams", "g", "CO2 above it"},
			{"total_grams", "g", "both"},
			{"grams_per_liter", "g/L", "CO2 in the beer"},
			{"volumes", "vol", "the same in volumes"},
		},
		Formula: []string{tankFormula, henryFormula}, Source: []string{carroll}, Range: tankRange,
		work: balance,
	},
	{
		Name: "cool", Meaning: "pressure of a closed tank at another temperature",
		Example: "temperature=14.4degC to=2degC pressure=80kPa beer=20hL headspace=2hL",
		Inputs: append([]Input{{Name: "to", Kind: beer.KindTemperature,
			Meaning: "the temperature it comes to"}}, tankInputs...),
		Outputs: []Output{
			{"gas_only_kpa", "kPa gauge", "before CO2 has moved between beer and head space"},
			{"gas_only_psi", "psi gauge", "the same"},
			{"kpa", "kPa gauge", "in the end, CO2 re-dissolved"},
			{"psi", "psi gauge", "the same"},
		},
		Formula: []string{"gas only: (gauge + atmosphere) T2 / T1 - atmosphere", "in the end: " + tankFormula, henryFormula},
		Source:  []string{carroll, "the gas law"}, Range: tankRange,
		Caution: caution.ReckonedTank,
		work:    cool,
	},
	{
		Name: "rise", Meaning: "pressure of a closed tank after the gravity has fallen further",
		Example: "temperature=14.4degC pressure=80kPa beer=20hL headspace=2hL drop=0.5degP",
		Inputs: append([]Input{{Name: "drop", Kind: beer.KindExtract, Meaning: "fall of the apparent extract"},
			originalInput}, tankInputs...),
		Outputs: []Output{
			{"kpa", "kPa gauge", "head pressure in the end"},
			{"psi", "psi gauge", "the same"},
			{"grams_per_liter", "g/L", "CO2 in the beer in the end"},
			{"volumes", "vol", "the same in volumes"},
		},
		Formula: []string{"gauge = before + CO2 made / (k beer + d headspace)", tankFormula, henryFormula},
		Source:  []string{carroll, ballingSource}, Range: tankRange,
		Caution: caution.ReckonedPressure,
		work:    rise,
	},
}

// tankOf puts together the tank that a calculation is about, and writes out its constants.
func tankOf(in given, r *Result) (beer.ClosedTank, error) {
	atmosphere, err := beer.AtmosphereAt(in.of("altitude"))
	if err != nil {
		return beer.ClosedTank{}, err
	}
	tank := beer.ClosedTank{
		Celsius: in.of("temperature"), GaugeKPa: in.of("pressure"), BeerLiters: in.of("beer"),
		HeadspaceLiters: in.of("headspace"), InertKPa: in.of("inert"), AtmosphereKPa: atmosphere,
	}
	if err := tank.Check(); err != nil {
		return tank, err
	}
	r.step("p = %v + %v - %v = %v kPa absolute", tank.GaugeKPa, atmosphere, tank.InertKPa, tank.PartialKPa())
	stepConstants(r, tank.Celsius)
	return tank, nil
}

// gasGrams is the CO2 in a liter of gas, g per kPa.
func gasGrams(celsius float64) float64 { return 44.0095 / (8.314462618 * (celsius + 273.15)) }

// stepConstants writes out what beer and gas hold at a temperature.
func stepConstants(r *Result, celsius float64) {
	stepHenry(r, celsius)
	r.step("d = 44.0095 / (8.314462618 x %v) = %v g/L per kPa", celsius+273.15, gasGrams(celsius))
}

// balance works the calculation of that name.
func balance(in given, r *Result) error {
	tank, err := tankOf(in, r)
	if err != nil {
		return err
	}
	p := tank.PartialKPa()
	r.put("dissolved_grams", tank.DissolvedGrams())
	r.put("headspace_grams", tank.HeadspaceGrams())
	r.put("total_grams", tank.TotalGrams())
	r.put("grams_per_liter", tank.GramsPerLiter())
	r.put("volumes", beer.Volumes(tank.GramsPerLiter()))
	r.step("dissolved = %v x %v x %v = %v g", p, beer.Henry(tank.Celsius), tank.BeerLiters, tank.DissolvedGrams())
	r.step("head space = %v x %v x %v = %v g", p, gasGrams(tank.Celsius), tank.HeadspaceLiters, tank.HeadspaceGrams())
	stepVolumes(r, tank.GramsPerLiter())
	return nil
}

// cool works the calculation of that name.
func cool(in given, r *Result) error {
	tank, err := tankOf(in, r)
	if err != nil {
		return err
	}
	end := tank.AfterTemperature(in.of("to"))
	if err := end.Check(); err != nil {
		return err
	}
	gas := tank.GasOnlyKPa(end.Celsius)
	if err := putPressure(r, "gas_only_", gas); err != nil {
		return err
	}
	air, t1, t2 := tank.AtmosphereKPa, tank.Celsius+273.15, end.Celsius+273.15
	r.step("gas only = (%v + %v) x %v / %v - %v = %v kPa", tank.GaugeKPa, air, t2, t1, air, gas)
	r.step("all CO2 = %v x (%v x %v + %v x %v) = %v g", tank.PartialKPa(), beer.Henry(tank.Celsius), tank.BeerLiters,
		gasGrams(tank.Celsius), tank.HeadspaceLiters, tank.TotalGrams())
	stepConstants(r, end.Celsius)
	r.step("gauge = %v / (%v x %v + %v x %v) + %v - %v = %v kPa", tank.TotalGrams(), beer.Henry(end.Celsius),
		end.BeerLiters, gasGrams(end.Celsius), end.HeadspaceLiters, end.InertKPa, air, end.GaugeKPa)
	return putPressure(r, "", end.GaugeKPa)
}

// rise works the calculation of that name.
func rise(in given, r *Result) error {
	drop, err := further(in, r)
	if err != nil {
		return err
	}
	tank, err := tankOf(in, r)
	if err != nil {
		return err
	}
	grams := drop.CO2GramsPerLiter * tank.BeerLiters
	end := tank.AfterAdding(grams)
	if err := end.Check(); err != nil {
		return err
	}
	if err := putPressure(r, "", end.GaugeKPa); err != nil {
		return err
	}
	r.put("grams_per_liter", end.GramsPerLiter())
	r.put("volumes", beer.Volumes(end.GramsPerLiter()))
	r.step("gauge = %v + %v x %v / (%v x %v + %v x %v) = %v kPa", tank.GaugeKPa, drop.CO2GramsPerLiter, tank.BeerLiters,
		beer.Henry(tank.Celsius), tank.BeerLiters, gasGrams(tank.Celsius), tank.HeadspaceLiters, end.GaugeKPa)
	stepVolumes(r, end.GramsPerLiter())
	return nil
}
