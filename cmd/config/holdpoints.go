package config

import (
	"fmt"
	"time"

	"spile/detect/batch"
	"spile/detect/beer"
)

// HoldPoints are how the hold points depart from common practice. Nil: as there.
type HoldPoints struct {
	Stable  *float64 // degP that gravity may fall in two days and still count as standing
	DryHop  *float64 // degC at or under which hops go in
	CO2     *float64 // g/L wanted in the package
	Alcohol *float64 // % v/v on the label
	Package *float64 // kPa gauge that the package is made for
	Store   *float64 // degC, the warmest that a package is kept
	Worst   time.Duration
}

// Limits of the figures: wide enough for any small brewery. They catch a wrong unit.
const (
	leastStable = 0.1 * beer.PlatoPerPoint // degP
	mostStable  = 2 * beer.PlatoPerPoint

	coldestDryHop = -2 // degC
	warmestDryHop = 25
	leastCO2      = 1 // g/L
	mostCO2       = 15
	mostAlcohol   = 25 // % v/v
	weakest       = 50 // kPa gauge
	strongest     = 2000
	coldestStore  = 0 // degC
	warmestStore  = 40
)

func (r *reader) holdPoints(c *Config) take {
	h := &c.HoldPoints
	return r.mapping(map[string]take{
		"stable":  optional(r, &h.Stable, amount(beer.KindExtract, leastStable, mostStable)),
		"dry_hop": optional(r, &h.DryHop, amount(beer.KindTemperature, coldestDryHop, warmestDryHop)),
		"co2":     optional(r, &h.CO2, amount(beer.KindCO2, leastCO2, mostCO2)),
		"abv":     optional(r, &h.Alcohol, amount(beer.KindAlcohol, 0, mostAlcohol)),
		"package": optional(r, &h.Package, amount(beer.KindPressure, weakest, strongest)),
		"store":   optional(r, &h.Store, amount(beer.KindTemperature, coldestStore, warmestStore)),
		"worst":   value(r, &h.Worst, span(day, 365*day)),
	})
}

// Limits are the hold points' as the records of batches take them.
func (h HoldPoints) Limits() batch.Limits {
	return batch.Limits{
		StablePoints: orZero(h.Stable) / beer.PlatoPerPoint, DryHopCelsius: orZero(h.DryHop), TargetVolumes: beer.Volumes(orZero(h.CO2)),
		LabelABV: orZero(h.Alcohol), PackageKPa: orZero(h.Package), StoreCelsius: orZero(h.Store), WorstDays: h.Worst.Hours() / 24,
	}
}

func (h HoldPoints) words() []string {
	words := []string{
		figure("stable within ", h.Stable, beer.KindExtract), figure("hops at ", h.DryHop, beer.KindTemperature),
		figure("CO2 ", h.CO2, beer.KindCO2), figure("label ", h.Alcohol, beer.KindAlcohol),
		figure("package made for ", h.Package, beer.KindPressure), figure("stored at ", h.Store, beer.KindTemperature),
	}
	if h.Worst > 0 {
		words = append(words, fmt.Sprintf("at worst for %s", length(h.Worst)))
	}
	for _, word := range words {
		if word != "" {
			return words
		}
	}
	return []string{"as common practice has it"}
}
