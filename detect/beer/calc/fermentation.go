package calc

import "spile/detect/beer"

const ballingSource = "Balling (1843 to 1865), as printed by Nielsen, Kristiansen, Krieger Lassen and Erikstrom, " +
	"\"Balling's Formula - scrutiny of a brewing dogma\", Scandinavian School of Brewing"

// originalInput is the original gravity where a calculation can do without.
var originalInput = Input{Name: "og", Kind: beer.KindGravity, Optional: true, Meaning: "original gravity, if known"}

// fermentationCalculations are those of yeast's work.
var fermentationCalculations = []Calculation{
	{
		Name: "balling", Meaning: "alcohol, extract, attenuation and CO2 of a beer", Example: "og=1.060 fg=1.011",
		Inputs: []Input{
			{Name: "og", Kind: beer.KindGravity, Meaning: "original gravity of the wort"},
			{Name: "fg", Kind: beer.KindGravity, Meaning: "gravity of the beer"},
		},
		Outputs: []Output{
			{"abv", "% v/v", "alcohol by volume at 20 degC"},
			{"abw", "% w/w", "alcohol by weight"},
			{"real_extract", "degP", "real extract"},
			{"apparent_attenuation", "%", "apparent attenuation"},
			{"real_attenuation", "%", "real attenuation"},
			{"co2_grams_per_liter", "g/L", "CO2 made in all; most of it has left the tank"},
			{"original_plato", "degP", "original extract"},
			{"apparent_plato", "degP", "apparent extract"},
		},
		Formula: []string{
			"2.0665 g extract = 1 g alcohol + 0.9565 g CO2 + 0.11 g yeast",
			"RE = 0.1808 OE + 0.8192 AE",
			"A = (OE - RE) / (2.0665 - 0.010665 OE)",
			"ABV = A x SG x 0.99821 / 0.78924",
		},
		Source: []string{ballingSource, "factors of real extract: common practice",
			"densities: Tanaka and others 2001 for water, OIML R 22 for alcohol"},
		Range: "OG 1.000 to 1.110, FG 0.985 to OG; alcohol within about 0.2 % v/v",
		work:  balling,
	},
	{
		Name: "drop", Meaning: "what a further fall of the gravity makes", Example: "drop=0.5degP og=1.060",
		Inputs: []Input{
			{Name: "drop", Kind: beer.KindExtract, Meaning: "fall of the apparent extract"},
			originalInput,
		},
		Outputs: []Output{
			{"grams_per_liter", "g/L", "CO2 made"},
			{"volumes", "vol", "CO2 made"},
			{"abv", "% v/v", "alcohol added"},
		},
		Formula: []string{
			"a = 0.8192 / (2.0665 - 0.010665 OE), alcohol % w/w per degP",
			"A = a (OE - 2.56), alcohol at SG 1.010",
			"CO2 = drop x 0.9565 a / (1 + 0.010665 A) x 10 x 1.010 x 0.99821",
		},
		Source: []string{ballingSource},
		Range:  "drop 0 to 26 degP; within about 5 %",
		work: func(in given, r *Result) error {
			d, err := further(in, r)
			if err != nil {
				return err
			}
			r.put("grams_per_liter", d.CO2GramsPerLiter)
			r.put("volumes", beer.Volumes(d.CO2GramsPerLiter))
			r.put("abv", d.AlcoholByVolume)
			stepVolumes(r, d.CO2GramsPerLiter)
			return nil
		},
	},
	{
		Name: "freeze", Meaning: "freezing point of a beer", Example: "og=1.060 fg=1.011",
		Inputs: []Input{
			{Name: "og", Kind: beer.KindGravity, Meaning: "original gravity of the wort"},
			{Name: "fg", Kind: beer.KindGravity, Meaning: "gravity of the beer"},
		},
		Outputs: []Output{
			{"celsius", "degC", "where ice begins, best estimate"},
			{"alarm_celsius", "degC", "where an alarm belongs: on the warm side of every source"},
		},
		Formula: []string{
			"best = -1.858 x (A / 46.068 + RE / 342.3) / (kg of water in 100 g), A and RE by Balling",
			"alarm = the warmer of best and -0.42 A + 0.04 OE + 0.2, never above 0",
		},
		Source: []string{
			"best: lowering of water's freezing point by what is dissolved (cryoscopic constant, CRC Handbook), extract as maltose",
			"alarm: the old rule of the trade, which is printed with two sets of signs; this is the warmer",
		},
		Range: "alcohol up to 12 % w/w; best within about 0.3 K",
		work:  freeze,
	},
}

// balling works the calculation of that name.
func balling(in given, r *Result) error {
	f, err := ferment(in, r)
	if err != nil {
		return err
	}
	fg := in.of("fg")
	r.put("abv", f.AlcoholByVolume)
	r.put("abw", f.AlcoholByWeight)
	r.put("real_extract", f.RealExtract)
	r.put("apparent_attenuation", f.ApparentAttenuation)
	r.put("real_attenuation", f.RealAttenuation)
	r.put("co2_grams_per_liter", f.CO2GramsPerLiter)
	r.put("original_plato", f.OriginalPlato)
	r.put("apparent_plato", f.ApparentPlato)
	r.step("ABV = %v x %v x 0.99821 / 0.78924 = %v %% v/v", f.AlcoholByWeight, fg, f.AlcoholByVolume)
	if f.OriginalPlato > 0 {
		attenuation := "%s attenuation = 100 x (%v - %v) / %v = %v %%"
		r.step(attenuation, "apparent", f.OriginalPlato, f.ApparentPlato, f.OriginalPlato, f.ApparentAttenuation)
		r.step(attenuation, "real", f.OriginalPlato, f.RealExtract, f.OriginalPlato, f.RealAttenuation)
	}
	r.step("CO2 = 0.9565 x %v x 10 x %v x 0.99821 = %v g/L", f.AlcoholByWeight, fg, f.CO2GramsPerLiter)
	return nil
}

// ferment is the part that balling and freeze share.
func ferment(in given, r *Result) (beer.Fermentation, error) {
	f, err := beer.Balling(in.of("og"), in.of("fg"))
	if err != nil {
		return f, err
	}
	r.step("OE = "+cubic+" = %[2]v degP", in.of("og"), f.OriginalPlato)
	r.step("AE = "+cubic+" = %[2]v degP", in.of("fg"), f.ApparentPlato)
	r.step("RE = 0.1808 x %v + 0.8192 x %v = %v degP", f.OriginalPlato, f.ApparentPlato, f.RealExtract)
	r.step("A = (%[1]v - %[2]v) / (2.0665 - 0.010665 x %[1]v) = %[3]v %% w/w", f.OriginalPlato, f.RealExtract, f.AlcoholByWeight)
	return f, nil
}

// freeze works the calculation of that name.
func freeze(in given, r *Result) error {
	f, err := ferment(in, r)
	if err != nil {
		return err
	}
	best, safe, err := beer.FreezingPoint(f.AlcoholByWeight, f.RealExtract)
	if err != nil {
		return err
	}
	r.put("celsius", best)
	r.put("alarm_celsius", safe)
	r.step("best = -1.858 x (%[1]v / 46.068 + %[2]v / 342.3) / ((100 - %[1]v - %[2]v) / 1000) = %[3]v degC",
		f.AlcoholByWeight, f.RealExtract, best)
	rule := -0.42*f.AlcoholByWeight + 0.04*f.OriginalPlato + 0.2
	r.step("rule = -0.42 x %v + 0.04 x %v + 0.2 = %v degC", f.AlcoholByWeight, f.OriginalPlato, rule)
	r.step("alarm at the warmer of the two, never above 0: %v degC", safe)
	return nil
}

// further is the part that every calculation of a further drop shares: the drop, and the original extract it takes.
func further(in given, r *Result) (beer.Drop, error) {
	original := 0.0
	if in.has("og") {
		plato, err := beer.Plato(in.of("og"))
		if err != nil {
			return beer.Drop{}, err
		}
		original = plato
	}
	d, err := beer.FurtherDrop(in.of("drop"), original)
	if err != nil {
		return d, err
	}
	if d.Assumed {
		r.assume("original extract %v degP", digits(d.OriginalPlato))
	}
	a := 0.8192 / (2.0665 - 0.010665*d.OriginalPlato)
	alcohol := max(0, a*(d.OriginalPlato-beer.ApparentPlato(1.010)))
	r.step("a = 0.8192 / (2.0665 - 0.010665 x %v) = %v %% w/w per degP", d.OriginalPlato, a)
	r.step("A = %v x (%v - %v) = %v %% w/w at SG 1.010", a, d.OriginalPlato, beer.ApparentPlato(1.010), alcohol)
	r.step("CO2 made = %v x 0.9565 x %v / (1 + 0.010665 x %v) x 10 x 1.01 x 0.99821 = %v g/L", in.of("drop"), a, alcohol,
		d.CO2GramsPerLiter)
	return d, nil
}

// stepVolumes writes grams per liter as volumes.
func stepVolumes(r *Result, gramsPerLiter float64) {
	r.step("volumes = %v / %v = %v, a volume being %[2]v g/L", gramsPerLiter, beer.GramsPerLiterPerVolume,
		beer.Volumes(gramsPerLiter))
}
