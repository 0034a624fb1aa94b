package beer

import "fmt"

// Package is a can, bottle or keg as it was filled and closed. Its head space is closed at one atmosphere: CO2 and
// whatever air was shut in. The container is rigid; a can or a bottle gives a little, which lowers the pressure.
type Package struct {
	GramsPerLiter  float64 // CO2 in the beer at filling
	FillCelsius    float64 // beer at filling
	HeadspaceShare float64 // head space at filling as a share of the beer, 0.04 for 14 mL over 355 mL; 0 leaves it out
	AirKPa         float64 // absolute partial pressure of air in the head space at filling; 0 when capped on foam
}

// Stored is a package in equilibrium at its storage temperature.
type Stored struct {
	GramsPerLiter float64 // all CO2 in the package, g per L of beer
	GaugeKPa      float64 // pressure against a standard atmosphere
	HighKPa       float64 // the same if this beer holds less CO2 than the model, by the model's uncertainty

	HeadspaceShare float64 // what the beer has left of the head space, as a share of the beer
	AirKPa         float64 // absolute partial pressure of the air in it
}

// Store returns the package at celsius (-2 to 40) after yeast has made a further gramsMade of CO2 per liter (CO2PerPlato
// times the drop). Beer expands on warming, as water does, and takes the room from the head space; beer that would fill
// the whole package is refused, for then no gas law holds and the pressure is the shell's to bear. A head space of 0 is
// not that: it leaves the head space out of the balance, which gives a higher pressure than any usual one.
//
// The pressure is what the trade compares with a package's rating; the rating, and local codes, decide. Range: CO2 up to
// 1000 kPa. Sources and uncertainty: Henry, ClosedTank, WaterDensity.
func (p Package) Store(celsius, gramsMade float64) (Stored, error) {
	if err := p.check(celsius, gramsMade); err != nil {
		return Stored{}, err
	}
	share, err := p.roomAt(celsius)
	if err != nil {
		return Stored{}, err
	}
	gas := (StandardAtmosphere - p.AirKPa) * gasDensity(p.FillCelsius) * p.HeadspaceShare
	total := p.GramsPerLiter + gramsMade + gas
	air := p.airAt(celsius, share)
	partial := func(henry float64) float64 { return total / (henry + gasDensity(celsius)*share) }
	best := partial(Henry(celsius))
	if best > highestPartial {
		return Stored{}, fmt.Errorf("%w: CO2 would reach %.0f kPa absolute; the formula holds to %.0f, and no can or "+
			"bottle for beer is made for it: keep them cold, and shielded", ErrRange, best, highestPartial)
	}
	doubt := CO2UncertaintyAt(celsius, best-StandardAtmosphere)
	return Stored{
		GramsPerLiter: total,
		GaugeKPa:      best + air - StandardAtmosphere,
		HighKPa:       partial(Henry(celsius)*(1-doubt)) + air - StandardAtmosphere,

		HeadspaceShare: share,
		AirKPa:         air,
	}, nil
}

// check refuses figures that no package has.
func (p Package) check(celsius, gramsMade float64) error {
	limits := []struct {
		what, unit       string
		value, low, high float64
	}{
		{"storage temperature", "degC", celsius, coldestBeer, warmestBeer},
		{"filling temperature", "degC", p.FillCelsius, coldestBeer, warmestBeer},
		{"CO2 at filling", "g/L", p.GramsPerLiter, 0, highestFilled},
		{"CO2 made", "g/L", gramsMade, 0, highestMade},
		{"head space as a share of the beer", "L/L", p.HeadspaceShare, 0, 1},
		{"air at filling", "kPa absolute", p.AirKPa, 0, StandardAtmosphere},
	}
	for _, l := range limits {
		if err := within(l.what, l.unit, l.value, l.low, l.high); err != nil {
			return err
		}
	}
	return nil
}

// Limits of CO2 in a package, g/L: far above any beer sold, and all that a strong wort can make.
const (
	highestFilled = 20
	highestMade   = 120
)

// roomAt is the head space left, as a share of the beer at filling, when the beer has come to celsius.
func (p Package) roomAt(celsius float64) (float64, error) {
	if p.HeadspaceShare == 0 {
		return 0, nil
	}
	growth := waterDensity(p.FillCelsius)/waterDensity(celsius) - 1
	if growth >= p.HeadspaceShare {
		return 0, fmt.Errorf("%w: warmed from %.1f to %.1f degC the beer grows by %.2f %% and fills its head space of %.2f %%; "+
			"it then presses on the shell as a liquid does, and bursts it", ErrRange, p.FillCelsius, celsius, 100*growth,
			100*p.HeadspaceShare)
	}
	return p.HeadspaceShare - growth, nil
}

// airAt is the absolute pressure of the shut-in air in the head space left.
func (p Package) airAt(celsius, share float64) float64 {
	if share == 0 {
		return 0
	}
	return p.AirKPa * absolute(celsius) / absolute(p.FillCelsius) * p.HeadspaceShare / share
}
