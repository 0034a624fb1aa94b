package batch

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// figures are the numbers of the brew sheet at the story's end.
func (s *story) figures() Figures {
	f := Figures{HoursAt: []HoursAt{}}
	if og, open, ok := s.original(); ok {
		f.OriginalGravity = &og
		if open != "" {
			f.OriginalOpen = open + " was added, and its extract is not logged: alcohol and attenuation are reckoned without it"
		}
	}
	if sg, ok := s.present(); ok {
		f.Gravity = &sg
	}
	if end, ok := s.expected(); ok {
		f.ExpectedGravity = &end
	}
	if f.OriginalGravity != nil && f.Gravity != nil && *f.Gravity <= *f.OriginalGravity {
		if b, err := beer.Balling(*f.OriginalGravity, *f.Gravity); err == nil {
			f.AlcoholByVolume, f.ApparentAttenuation, f.RealAttenuation = &b.AlcoholByVolume, &b.ApparentAttenuation, &b.RealAttenuation
		}
	}
	if liters, ok := s.volume(); ok {
		f.BeerLiters = &liters
	}
	if c, _, _, ok := s.reading(detect.Temperature, s.held(), s.at); ok {
		f.TemperatureCelsius = &c
	}
	if kPa, _, _, ok := s.reading(detect.Pressure, s.held(), s.at); ok {
		f.PressureKPa = &kPa
	}
	if grams, how, ok := s.dissolved(); ok {
		f.CO2GramsPerLiter, f.CO2How = &grams, how
		f.CO2Volumes = &detect.Interval{Value: beer.Volumes(grams.Value), Low: beer.Volumes(grams.Low), High: beer.Volumes(grams.High)}
	}
	return f
}

// fullFigures adds what takes a walk through the curves.
func (s *story) fullFigures() Figures {
	f := s.figures()
	st := s.stands(s.worked())
	f.FallPoints = st.Fall
	if !st.Since.IsZero() {
		f.StableSince = &st.Since
	}
	f.HoursAt = s.hoursAt()
	s.hops(&f)
	return f
}

// fresh is how long a gravity by hand is the newest word.
const fresh = 24 * time.Hour

// present is the gravity of now: by hand where that is newer than a day, else the mean of the floats' newest hours.
func (s *story) present() (float64, bool) {
	hand, logged := s.last("gravity")
	if logged && s.at.Sub(hand.Time) <= fresh {
		return hand.Amount("value")
	}
	const hours = 6
	for _, probe := range slices.Sorted(maps.Keys(s.curves[detect.Gravity])) {
		all := s.curves[detect.Gravity][probe].until(s.at)
		var sum float64
		n := 0
		for _, h := range slices.Backward(all) {
			if n == hours || h.Start.Before(s.held()) || h.Newest.Before(s.at.Add(-2*fresh)) {
				break
			}
			sum, n = sum+h.Value, n+1
		}
		if n > 0 {
			return sum / float64(n), true
		}
	}
	if logged {
		return hand.Amount("value")
	}
	if s.before != nil {
		return s.before.present()
	}
	return 0, false
}

// expected is the end gravity that a forced test or else the pitch gives.
func (s *story) expected() (float64, bool) {
	if end, _, ok := s.forcedEnd(); ok {
		return end, true
	}
	e, ok := s.last("pitch")
	if !ok || s.lastTime("add").After(e.Time) {
		return 0, false // what was expected was expected of the wort alone
	}
	return e.Amount("expected")
}

// expectedHow says where that comes from.
func (s *story) expectedHow() string {
	if _, from, ok := s.forcedEnd(); ok {
		return "the forced test of " + s.clock(from)
	}
	return "logged at the pitch"
}

// forcedEnd is where a forced fermentation test ended, which no beer passes by itself: the newest of this batch's. Once
// the beer is hopped the test with the hops in it counts, where there is one, for hops free more to ferment.
func (s *story) forcedEnd() (end float64, at time.Time, ok bool) {
	if _, hopped := s.hopped(); hopped {
		if end, at, ok = s.forced("hops"); ok {
			return end, at, true
		}
		return 0, time.Time{}, false // a limit without hops is none for hopped beer
	}
	return s.forced("limit")
}

// forced is the newest end of one sort of forced test.
func (s *story) forced(field string) (end float64, at time.Time, ok bool) {
	for _, e := range slices.Backward(s.lines) {
		if v, given := e.Amount(field); given && e.Name == "forced" {
			return v, e.Time, true
		}
	}
	return 0, time.Time{}, false
}

// settled is how long beer and head space need to come to terms, when nobody stirs (common practice: hours to a day).
const settled = 24 * time.Hour

// handCO2 is what a careful measurement of dissolved CO2 is good to, volumes (common practice).
const handCO2 = 0.05

// dissolved is the CO2 in the beer, g/L: by hand since anything last changed it, else what rests under the head
// pressure at the beer's temperature, once the two have had a day.
func (s *story) dissolved() (grams detect.Interval, how string, ok bool) {
	changed := s.lastTime("gas", "vent", "rouse", "crash", "rest", "seal", "add", "dry-hop")
	if e, measured := s.last("co2"); measured && e.Time.After(changed) {
		v, _ := e.Amount("value")
		slack := beer.GramsPerLiter(handCO2)
		return detect.Interval{Value: v, Low: v - slack, High: v + slack}, "measured on " + s.clock(e.Time), true
	}
	celsius, _, _, warmth := s.reading(detect.Temperature, s.at.Add(-6*time.Hour), s.at)
	head, _, gauge := s.newest(detect.Pressure, s.at.Add(-6*time.Hour), s.at)
	if !warmth || !gauge || head.Value < s.limits.OpenKPa {
		return detect.Interval{}, "", false
	}
	absolute := head.Value + s.atmosphere()
	v, err := beer.CO2Solubility(celsius, absolute)
	if err != nil {
		return detect.Interval{}, "", false
	}
	doubt := beer.CO2UncertaintyAt(celsius, head.Value)
	how = fmt.Sprintf("reckoned from %s at %s", s.pressure(head.Value), s.celsius(celsius))
	if s.at.Sub(changed) < settled {
		how += ", which have not settled yet"
		doubt += 0.1
	}
	return detect.Interval{Value: v, Low: v * (1 - doubt), High: v * (1 + doubt)}, how, true
}

func (s *story) atmosphere() float64 {
	if s.settings.AtmosphereKPa > 0 {
		return s.settings.AtmosphereKPa
	}
	return beer.StandardAtmosphere
}

// hoursAt sorts the beer's hours into bands of temperature. A band is as wide as people speak of: 5 K from zero.
func (s *story) hoursAt() []HoursAt {
	const band = 5.0
	counted := s.warmHours()
	bands := map[float64]float64{}
	for _, celsius := range counted {
		bands[math.Floor(celsius/band)*band]++
	}
	out := []HoursAt{}
	for _, low := range slices.Sorted(maps.Keys(bands)) {
		out = append(out, HoursAt{FromCelsius: low, ToCelsius: low + band, Hours: bands[low]})
	}
	return out
}

// warmHours is the beer's temperature by hour, in whatever tank it was.
func (s *story) warmHours() map[time.Time]float64 {
	counted := map[time.Time]float64{}
	if s.before != nil {
		counted = s.before.warmHours()
	}
	for _, probe := range slices.Sorted(maps.Keys(s.curves[detect.Temperature])) {
		if s.settings.At[probe] == detect.Head {
			continue
		}
		for _, h := range s.curves[detect.Temperature][probe].until(s.at) {
			if !h.Start.Before(s.held().Truncate(time.Hour)) {
				counted[h.Start] = h.Value
			}
		}
	}
	return counted
}

// hops fills in contact time and dose of the newest cold hops.
func (s *story) hops(f *Figures) {
	hop, ok := s.hopped()
	if !ok {
		return
	}
	end := s.at
	if off := s.lastTime("hops-off"); off.After(hop.Time) {
		end = off
	}
	if !s.ended.IsZero() && s.ended.Before(end) {
		end = s.ended
	}
	f.HopContactHours = pointer(end.Sub(hop.Time).Hours())
	var grams float64
	for _, e := range s.lines {
		if e.Name == "dry-hop" {
			mass, _ := e.Amount("mass")
			grams += mass
		}
	}
	if liters, known := s.asOf(hop.Time).volume(); known && liters > 0 && grams > 0 {
		f.HopGramsPerLiter = pointer(grams / liters)
	}
}
