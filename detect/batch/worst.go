package batch

import (
	"fmt"
	"math"

	"spile/detect/beer"
	"spile/detect/stable"
)

// holds is the condition that a package would stand the bounded worst case: gravity goes on to fall in it as fast as the
// curves allow with 95 % confidence, for some weeks, or down to where a forced test ended.
func (s *story) holds(st standing) Condition {
	const name = "package-pressure"
	title := fmt.Sprintf("A package at %s stands the worst that is bounded", s.celsius(s.limits.StoreCelsius))
	f := s.figures()
	switch {
	case f.CO2Volumes == nil:
		return unknown(name, title, "what CO2 the beer holds is not known", "measure it and log co2")
	case st.Fall == nil:
		return unknown(name, title, "how fast it may still ferment is not bounded: "+st.Why, "a forced test, or two days of gravity")
	}
	drop, how, forced := s.worstDrop(st, f)
	made := drop * beer.PlatoPerPoint * beer.CO2PerPlato(s.originalPlato())
	celsius := coldestUsual
	if f.TemperatureCelsius != nil {
		celsius = max(*f.TemperatureCelsius, 0)
	}
	can := beer.Package{GramsPerLiter: beer.GramsPerLiter(f.CO2Volumes.High), FillCelsius: celsius, HeadspaceShare: s.limits.HeadspaceShare}
	stored, err := can.Store(s.limits.StoreCelsius, made)
	said := fmt.Sprintf("at worst %.1f points more (%s)", drop, how)
	if err != nil {
		said += ": " + err.Error()
	} else {
		said += fmt.Sprintf(" make %.2f volumes and %s at %s, at most %s; held against %s, the maker's own rating decides",
			beer.Volumes(made), s.pressure(stored.GaugeKPa), s.celsius(s.limits.StoreCelsius), s.pressure(stored.HighKPa), s.pressure(s.limits.PackageKPa))
	}
	switch {
	case err == nil && stored.HighKPa <= s.limits.PackageKPa:
		return met(name, title, said)
	case !forced && s.likely(can, st) <= s.limits.PackageKPa:
		return unknown(name, title, said+"; it is the doubt of the curve that is too much, not what it fell",
			"a forced test, with the hops in it if it is hopped, or more days of gravity before it is cooled")
	}
	return notMet(name, title, said, "wait until less can come, or keep it cold from the first can on; ask the package's maker")
}

// likely is the pressure in the package if gravity goes on as it most likely does, kPa gauge; without end where the
// package cannot hold it.
func (s *story) likely(can beer.Package, st standing) float64 {
	drop := max(0, st.Fall.Value) / stable.Window.Hours() * 24 * s.limits.WorstDays
	stored, err := can.Store(s.limits.StoreCelsius, drop*beer.PlatoPerPoint*beer.CO2PerPlato(s.originalPlato()))
	if err != nil {
		return math.Inf(1)
	}
	return stored.HighKPa
}

// worstDrop is how many points gravity may still fall in the package, how that is known, and whether a forced test says so.
func (s *story) worstDrop(st standing, f Figures) (drop float64, how string, forced bool) {
	perDay := s.bound(st) / stable.Window.Hours() * 24
	drop = perDay * s.limits.WorstDays
	how = fmt.Sprintf("%.2f a day for %.0f days, the 95 %% bound of now", perDay, s.limits.WorstDays)
	if end, from, ok := s.forcedEnd(); ok && f.Gravity != nil {
		if left := max(0, (*f.Gravity-end)/point); left < drop {
			return left, "down to where the forced test of " + s.clock(from) + " ended", true
		}
	}
	return drop, how, false
}

// bound is the most that gravity falls in two days, points: by the longest curve since yeast was last given something to
// eat, for that bounds it best.
func (s *story) bound(st standing) float64 {
	least := st.Worst
	hop, _ := s.hopped()
	q := stable.Question{At: s.at, Since: s.worked(), Hopped: hop.Time, Back: longest, Limit: s.limits.StablePoints * point}
	for _, curve := range s.gravities(s.held(), s.at) {
		if v := stable.Judge(curve, q); v.State == stable.Shown {
			least = min(least, v.Worst/point)
		}
	}
	return least
}

// originalPlato is the batch's original extract, 0 where it is not known.
func (s *story) originalPlato() float64 {
	if f := s.figures(); f.OriginalGravity != nil {
		if plato, err := beer.Plato(*f.OriginalGravity); err == nil {
			return plato
		}
	}
	return 0
}

// creepForced says what the forced test with the hops in it lets expect of this beer once it is hopped.
func (s *story) creepForced() []string {
	end, from, ok := s.forced("hops")
	now, known := s.present()
	if !ok || !known || now <= end {
		return nil
	}
	drop := (now - end) / point
	made := drop * beer.PlatoPerPoint * beer.CO2PerPlato(s.originalPlato())
	alcohol := drop * beer.PlatoPerPoint * beer.AlcoholPerPlato(s.originalPlato())
	return []string{fmt.Sprintf("The forced test of %s with the hops in it ended at %s: they may take this beer down by %.1f points more, which makes %.2f volumes of CO2 and %.1f %% of alcohol, if yeast is left to do it",
		s.clock(from), s.gravity(end), drop, beer.Volumes(made), alcohol)}
}
