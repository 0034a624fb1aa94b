package calc

import (
	"fmt"

	"spile/detect/beer"
	"spile/detect/caution"
)

// packageCalculations are those of cans, bottles and kegs.
var packageCalculations = []Calculation{{
	Name: "package", Meaning: "pressure in a can, bottle or keg at the temperature it is kept",
	Example: "volumes=2.5 drop=0.5degP temperature=38degC",
	Inputs: []Input{
		{Name: "volumes", Kind: beer.KindCO2, Bare: "vol", Meaning: "CO2 in the beer at filling, volumes or g/L"},
		{Name: "temperature", Kind: beer.KindTemperature, Meaning: "at which the package is kept"},
		{Name: "drop", Kind: beer.KindExtract, Default: "0 degP", Meaning: "fall of the apparent extract in the package"},
		originalInput,
		{Name: "fill", Kind: beer.KindTemperature, Default: "2 degC", Meaning: "temperature at filling"},
		{Name: "beer", Kind: beer.KindVolume, Default: "355 mL", Meaning: "beer in the package"},
		{Name: "headspace", Kind: beer.KindVolume, Default: "0 mL",
			Meaning: "gas above it at filling; 0 leaves it out, which errs to the high side"},
		{Name: "air", Kind: beer.KindPressure, Default: "0 kPa", Meaning: "air shut in, its own absolute pressure"},
	},
	Outputs: []Output{
		{"volumes", "vol", "all CO2 in the package for its beer"},
		{"kpa", "kPa gauge", "pressure in equilibrium"},
		{"psi", "psi gauge", "the same"},
		{"kpa_high", "kPa gauge", "for a beer that takes up less CO2 than the model: the figure to hold against a rating"},
		{"psi_high", "psi gauge", "the same"},
		{"grams_per_liter", "g/L", "all CO2 in the package for its beer"},
	},
	Formula: []string{
		"CO2 = at filling + made by the drop + in the head space at filling, for each liter of beer",
		"gauge = CO2 / (k + d share) + air - 101.325, share = head space left / beer",
		henryFormula,
	},
	Source: []string{carroll, ballingSource},
	Range: "-2 to 40 degC, CO2 up to 1000 kPa absolute; k within 6 % to 25 degC and 400 kPa, 10 % beyond; a rigid package; " +
		"shown against the atmosphere at the sea",
	Caution: caution.ReckonedPackage,
	work:    stored,
}}

// stored works "package".
func stored(in given, r *Result) error {
	made, err := madeInPackage(in, r)
	if err != nil {
		return err
	}
	liters, celsius := in.of("beer"), in.of("temperature")
	if liters <= 0 {
		return fmt.Errorf("%w: beer=%v L; a package holds some", beer.ErrRange, liters)
	}
	p := beer.Package{
		GramsPerLiter: in.of("volumes"), FillCelsius: in.of("fill"),
		HeadspaceShare: in.of("headspace") / liters, AirKPa: in.of("air"),
	}
	s, err := p.Store(celsius, made)
	if err != nil {
		return err
	}
	r.put("volumes", beer.Volumes(s.GramsPerLiter))
	if err := putPressure(r, "", s.GaugeKPa); err != nil {
		return err
	}
	psi, err := beer.ToUnit(s.HighKPa, "psi", beer.KindPressure)
	if err != nil {
		return err
	}
	r.put("kpa_high", s.HighKPa)
	r.put("psi_high", psi)
	r.put("grams_per_liter", s.GramsPerLiter)
	stepPackage(r, p, s, celsius, made)
	return nil
}

// madeInPackage is the CO2 of the drop, g/L. Without a drop there is nothing to assume or to write out.
func madeInPackage(in given, r *Result) (float64, error) {
	if in.of("drop") == 0 {
		return 0, nil
	}
	drop, err := further(in, r)
	return drop.CO2GramsPerLiter, err
}

// stepPackage writes out the balance of a package.
func stepPackage(r *Result, p beer.Package, s beer.Stored, celsius, made float64) {
	r.step("all CO2 = %v + %v + (101.325 - %v) x %v x %v = %v g/L", p.GramsPerLiter, made, p.AirKPa,
		gasGrams(p.FillCelsius), p.HeadspaceShare, s.GramsPerLiter)
	stepVolumes(r, s.GramsPerLiter)
	stepConstants(r, celsius)
	k, d := beer.Henry(celsius), gasGrams(celsius)
	if p.HeadspaceShare > 0 {
		r.step("of the head space, %v of the beer's volume at filling, the beer leaves %v", p.HeadspaceShare, s.HeadspaceShare)
	}
	r.step("gauge = %v / (%v + %v x %v) + %v - 101.325 = %v kPa", s.GramsPerLiter, k, d, s.HeadspaceShare, s.AirKPa, s.GaugeKPa)
	doubt := beer.CO2UncertaintyAt(celsius, s.GaugeKPa-s.AirKPa)
	r.step("at the most = %v / (%v x (1 - %v) + %v x %v) + %v - 101.325 = %v kPa", s.GramsPerLiter, k, doubt, d,
		s.HeadspaceShare, s.AirKPa, s.HighKPa)
}
