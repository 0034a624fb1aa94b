package beer

import "fmt"

// gasConstant is R, kPa L/(mol K): CODATA 2018.
const gasConstant = 8.314462618

// ClosedTank is a tank that lets no gas in or out, with its beer and head space in equilibrium: CO2 divides between the
// two, air and nitrogen (the inert gases) stay above. All its pressures follow from one balance,
//
//	CO2 = dissolved + head space = p k(t) beer + p M / (R T) headspace      (p the CO2's absolute partial pressure)
//
// with Henry's k and an ideal gas. The real gas holds 1.3 % more CO2 at 200 kPa and 3 % at 500 kPa; the beer's own
// shrinking (0.2 % from 20 to 0 degC), its vapor (0.6 to 2.3 kPa) and the inert gas that dissolves are left out.
// Uncertainty: that of Henry for what is dissolved, which is nearly all.
//
// Its methods never fail and allocate nothing: they are meant for every reading. Check says whether the figures can be;
// with figures that cannot, the methods give figures that mean nothing.
type ClosedTank struct {
	Celsius         float64 // of beer and gas, -2 to 40; held there
	GaugeKPa        float64 // head pressure as the gauge shows it
	BeerLiters      float64
	HeadspaceLiters float64
	InertKPa        float64 // absolute partial pressure of air and nitrogen in the head space
	AtmosphereKPa   float64 // absolute pressure outside; 0 stands for StandardAtmosphere
}

// Check refuses a tank that cannot be: no beer, no room, less than no pressure, or a temperature outside -2 to 40 degC.
func (t ClosedTank) Check() error {
	if err := within("beer temperature", "degC", t.Celsius, coldestBeer, warmestBeer); err != nil {
		return err
	}
	switch {
	case !(t.BeerLiters > 0 && t.BeerLiters <= largestTank):
		return fmt.Errorf("%w: a tank holds %g L of beer; give more than 0, up to %g", ErrRange, t.BeerLiters, largestTank)
	case !(t.HeadspaceLiters >= 0 && t.HeadspaceLiters <= largestTank):
		return fmt.Errorf("%w: a head space of %g L; give 0 or more, up to %g", ErrRange, t.HeadspaceLiters, largestTank)
	case !(t.InertKPa >= 0):
		return fmt.Errorf("%w: %g kPa of inert gas; give 0 or more", ErrRange, t.InertKPa)
	}
	if err := within("atmosphere", "kPa absolute", t.atmosphere(), lowestAtmosphere, highestAtmosphere); err != nil {
		return err
	}
	return within("CO2 in the head space", "kPa absolute", t.PartialKPa(), 0, highestPartial)
}

// largestTank is far above any tank, L; it keeps a slip of the unit from passing as a volume.
const largestTank = 1e7

// Limits of the atmosphere where people live, kPa absolute: 5200 m with low weather, and the Dead Sea with high.
const (
	lowestAtmosphere  = 50
	highestAtmosphere = 112
)

// atmosphere is the pressure outside, absolute.
func (t ClosedTank) atmosphere() float64 {
	if t.AtmosphereKPa == 0 {
		return StandardAtmosphere
	}
	return t.AtmosphereKPa
}

// PartialKPa returns the CO2's own absolute pressure in the head space, kPa.
func (t ClosedTank) PartialKPa() float64 { return t.GaugeKPa + t.atmosphere() - t.InertKPa }

// DissolvedGrams returns the CO2 in the beer, g.
func (t ClosedTank) DissolvedGrams() float64 { return t.PartialKPa() * Henry(t.Celsius) * t.BeerLiters }

// HeadspaceGrams returns the CO2 in the head space, g.
func (t ClosedTank) HeadspaceGrams() float64 {
	return t.PartialKPa() * gasDensity(t.Celsius) * t.HeadspaceLiters
}

// TotalGrams returns all the CO2 in the tank, g.
func (t ClosedTank) TotalGrams() float64 { return t.PartialKPa() * t.GramsPerKPa() }

// GramsPerKPa returns how much CO2 raises the pressure by 1 kPa once it has divided between beer and head space, g.
func (t ClosedTank) GramsPerKPa() float64 {
	return Henry(t.Celsius)*t.BeerLiters + gasDensity(t.Celsius)*t.HeadspaceLiters
}

// GramsPerLiter returns the CO2 content of the beer, g/L.
func (t ClosedTank) GramsPerLiter() float64 { return t.PartialKPa() * Henry(t.Celsius) }

// AfterAdding returns the tank in its new equilibrium after yeast or a bottle added grams of CO2; less than zero takes
// CO2 away. Its pressure is what the gauge will show in the end: on the way there it may show more, when gas is added
// above, or less, when yeast makes it below.
func (t ClosedTank) AfterAdding(grams float64) ClosedTank {
	if perKPa := t.GramsPerKPa(); perKPa > 0 {
		t.GaugeKPa += grams / perKPa
	}
	return t
}

// AfterTemperature returns the tank at another temperature, the CO2 divided anew between beer and head space: where a
// cooled tank's pressure ends once beer has taken up what it can.
func (t ClosedTank) AfterTemperature(celsius float64) ClosedTank {
	total := t.TotalGrams()
	t.InertKPa *= absolute(celsius) / absolute(t.Celsius)
	t.Celsius = celsius
	if perKPa := t.GramsPerKPa(); perKPa > 0 {
		t.GaugeKPa = total/perKPa + t.InertKPa - t.atmosphere()
	}
	return t
}

// GasOnlyKPa returns the gauge pressure, kPa, at another temperature before any CO2 has moved between beer and head
// space: the gas law alone. It is the first hour of a crash; AfterTemperature is the end of it, and far lower.
func (t ClosedTank) GasOnlyKPa(celsius float64) float64 {
	return (t.GaugeKPa+t.atmosphere())*absolute(celsius)/absolute(t.Celsius) - t.atmosphere()
}

// gasDensity is the CO2 in a liter of head space, g for each kPa, an ideal gas.
func gasDensity(celsius float64) float64 {
	return co2GramsPerMole / (gasConstant * absolute(celsius))
}

// absolute is the temperature in kelvin, held to the range of beer.
func absolute(celsius float64) float64 { return clamp(celsius, coldestBeer, warmestBeer) + zeroCelsius }
