package calc

import "spile/detect/beer"

// cubic is the extract polynomial as a brewer would write it out.
const cubic = "182.46007 x %[1]v^3 - 775.68212 x %[1]v^2 + 1262.7794 x %[1]v - 669.56218"

const extractSource = "cubic fit to the sucrose table of the US National Bureau of Standards, Circular 440 (1942), table 114"

// gravityCalculations are those of a sample in a jar.
var gravityCalculations = []Calculation{
	{
		Name: "plato", Meaning: "degrees Plato of a specific gravity", Example: "sg=1.048",
		Inputs:  []Input{{Name: "sg", Kind: beer.KindGravity, Meaning: "specific gravity 20/20 degC"}},
		Outputs: []Output{{"plato", "degP", "extract, g in 100 g"}},
		Formula: []string{"P = 182.46007 S^3 - 775.68212 S^2 + 1262.7794 S - 669.56218"},
		Source:  []string{extractSource},
		Range:   "SG 1.000 to 1.110, within 0.005 degP of the table",
		work: func(in given, r *Result) error {
			plato, err := beer.Plato(in.of("sg"))
			r.put("plato", plato)
			r.step("P = "+cubic+" = %[2]v degP", in.of("sg"), plato)
			return err
		},
	},
	{
		Name: "sg", Meaning: "specific gravity of degrees Plato", Example: "plato=12",
		Inputs:  []Input{{Name: "plato", Kind: beer.KindExtract, Single: true, Meaning: "extract, degP"}},
		Outputs: []Output{{"sg", "SG 20/20", "specific gravity"}},
		Formula: []string{"the S for which P = 182.46007 S^3 - 775.68212 S^2 + 1262.7794 S - 669.56218, found by Newton's method"},
		Source:  []string{extractSource},
		Range:   "0 to 25.9 degP, within 0.00002 SG of the table",
		work: func(in given, r *Result) error {
			sg, err := beer.SG(in.of("plato"))
			r.put("sg", sg)
			r.step("P = "+cubic+" = %[2]v degP, so S = %[1]v", sg, in.of("plato"))
			return err
		},
	},
	{
		Name: "correct", Meaning: "a hydrometer read in beer that is not at its calibration temperature",
		Example: "sg=1.010 temperature=14.4degC calibration=20degC",
		Inputs: []Input{
			{Name: "sg", Kind: beer.KindGravity, Meaning: "what the hydrometer reads"},
			{Name: "temperature", Kind: beer.KindTemperature, Meaning: "of the beer"},
			{Name: "calibration", Kind: beer.KindTemperature, Default: "20 degC", Meaning: "at which the hydrometer is right"},
		},
		Outputs: []Output{{"sg", "SG 20/20", "corrected gravity"}},
		Formula: []string{"SG = reading x water(calibration) / water(temperature) / (1 + 0.000025 (temperature - calibration))"},
		Source: []string{
			"a float of known mass; water by Tanaka and others, Metrologia 38 (2001) 301-309",
			"glass that grows by 0.000025 per K, common practice of hydrometer standards",
		},
		Range: "0 to 40 degC; beer taken to expand like water, so within 0.0003 near 20 degC, low by up to 0.001 near 2 degC",
		work:  correct,
	},
	{
		Name: "water", Meaning: "density of water", Example: "temperature=20degC",
		Inputs:  []Input{{Name: "temperature", Kind: beer.KindTemperature, Meaning: "of the water"}},
		Outputs: []Output{{"kg_per_m3", "kg/m3", "density at one atmosphere"}},
		Formula: []string{"rho = 999.97495 (1 - (t - 3.983035)^2 (t + 301.797) / (522528.9 (t + 69.34881)))"},
		Source:  []string{"Tanaka and others, Metrologia 38 (2001) 301-309"},
		Range:   "0 to 40 degC, within 0.001 kg/m3",
		work: func(in given, r *Result) error {
			t := in.of("temperature")
			density, err := beer.WaterDensity(t)
			r.put("kg_per_m3", density)
			r.step("rho = 999.97495 x (1 - (%[1]v - 3.983035)^2 x (%[1]v + 301.797) / (522528.9 x (%[1]v + 69.34881))) = %[2]v kg/m3",
				t, density)
			return err
		},
	},
}

// correct works the calculation of that name.
func correct(in given, r *Result) error {
	reading, t, tc := in.of("sg"), in.of("temperature"), in.of("calibration")
	sg, err := beer.CorrectHydrometer(reading, t, tc)
	if err != nil {
		return err
	}
	calibrated, err := beer.WaterDensity(tc)
	if err != nil {
		return err
	}
	now, err := beer.WaterDensity(t)
	if err != nil {
		return err
	}
	r.put("sg", sg)
	r.step("water at %v degC is %v kg/m3, at %v degC %v kg/m3", tc, calibrated, t, now)
	r.step("SG = %v x %v / %v / (1 + 0.000025 x (%v - %v)) = %v", reading, calibrated, now, t, tc, sg)
	return nil
}
