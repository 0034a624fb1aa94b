package beer

// Limits of a beer's composition.
const (
	strongestBeer   = 12.0 // % w/w alcohol, about 15 % v/v
	heaviestExtract = 26.0 // degP
)

// Constants of the best estimate.
const (
	cryoscopic          = 1.858  // K kg/mol, of water: from memory, the CRC Handbook of Chemistry and Physics
	ethanolGramsPerMole = 46.068 // IUPAC standard atomic weights
	extractGramsPerMole = 342.3  // as maltose; see FreezingPoint
)

// The older rule of the trade for the freezing point, degC, from alcohol A (% w/w) and original extract OE (degP). It is
// printed with two sets of signs: -(0.42 A + 0.04 OE + 0.2) and -0.42 A + 0.04 OE + 0.2. The first is colder than alcohol
// and extract can explain, the second warmer than alcohol alone does.
const (
	ruleAlcohol = -0.42
	ruleExtract = 0.04
	ruleZero    = 0.2
)

// FreezingPoint returns where ice begins in beer of alcohol (% w/w, 0 to 12) and real extract (degP, 0 to 26): the best
// estimate, and the safe one, warmer or equal, at which an alarm belongs. degC.
//
// The best estimate is the lowering of the freezing point by what is dissolved: 1.858 K for each mole of alcohol and
// extract in a kg of water. For alcohol in water that lies within 2 % of the tables up to 10 % w/w. All extract is
// counted as maltose: most of it is heavier dextrin, but salts and glycerol are lighter, and in beer it is the smaller
// part (0.25 K of 2.0). Good to about 0.3 K.
//
// The safe one does not choose between the rules of the trade: it is the warmer of the best estimate and the warmer
// printing of the old rule, and never above 0 degC. For a beer of 12 degP it is -1.0 degC, at which, as the trade teaches,
// no beer freezes. An alarm a degree early costs a look at the tank; one that comes late costs the beer, and a cooling
// jacket is colder than the probe.
func FreezingPoint(alcoholByWeight, realExtract float64) (best, safe float64, err error) {
	original, err := OriginalExtract(alcoholByWeight, realExtract)
	if err != nil {
		return 0, 0, err
	}
	water := 100 - alcoholByWeight - realExtract // g in 100 g
	moles := alcoholByWeight/ethanolGramsPerMole + realExtract/extractGramsPerMole
	best = -cryoscopic * moles / (water / 1000)
	rule := ruleAlcohol*alcoholByWeight + ruleExtract*original + ruleZero
	return best, min(0, max(best, rule)), nil
}
