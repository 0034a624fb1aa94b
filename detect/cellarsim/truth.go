package cellarsim

import "time"

// Truth is how a tank really is at a moment, without any probe.
type Truth struct {
	Tank string
	Time time.Time

	ExtractPlato           float64 // apparent, degP
	RatePlatoPerDay        float64 // at which yeast eats it
	Celsius                float64 // of the beer
	SetpointCelsius        float64 // of the thermostat, where it is by now
	GaugeKPa               float64 // head pressure over the air outside
	DissolvedGramsPerLiter float64 // CO2 in the beer

	BeerLiters      float64
	HeadspaceLiters float64
	HeadspaceGrams  float64 // CO2 in the head space
	InertKPa        float64 // partial pressure of what is not CO2 there
	AtmosphereKPa   float64 // absolute

	// CO2 since the start, in grams.
	StartGrams  float64 // there at the start
	MadeGrams   float64 // by yeast
	AddedGrams  float64 // from a bottle
	VentedGrams float64 // out of the head space
	DrawnGrams  float64 // in beer that left
}

// DissolvedGrams is the CO2 in all the beer.
func (t Truth) DissolvedGrams() float64 { return t.DissolvedGramsPerLiter * t.BeerLiters }

// Unbalanced is the CO2, in grams, that the tank holds over what the account of it says: zero, but for rounding.
func (t Truth) Unbalanced() float64 {
	held := t.DissolvedGrams() + t.HeadspaceGrams
	return held - (t.StartGrams + t.MadeGrams + t.AddedGrams - t.VentedGrams - t.DrawnGrams)
}

// truth reads the vessel's state.
func (v *vessel) truth(tank string, start time.Time) Truth {
	return Truth{
		Tank:                   tank,
		Time:                   start.Add(v.now),
		ExtractPlato:           v.extract,
		RatePlatoPerDay:        v.rate() * 24,
		Celsius:                v.celsius,
		SetpointCelsius:        v.cooling.setpoint(v.now),
		GaugeKPa:               v.gauge(),
		DissolvedGramsPerLiter: v.dissolved,
		BeerLiters:             v.beer,
		HeadspaceLiters:        v.head.liters,
		HeadspaceGrams:         v.head.co2 * gramsPerMole,
		InertKPa:               v.head.inert * v.head.perMole(),
		AtmosphereKPa:          v.atmosphere,
		StartGrams:             v.ledger.start,
		MadeGrams:              v.ledger.made,
		AddedGrams:             v.ledger.added,
		VentedGrams:            v.ledger.vented,
		DrawnGrams:             v.ledger.drawn,
	}
}
