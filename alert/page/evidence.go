package page

import (
	"fmt"
	"strings"

	"spile/alert"
	"spile/detect"
	"spile/detect/beer"
)

// fact is one line of evidence.
type fact struct{ Name, Text string }

// facts writes evidence as a brewer checks it, the strongest first.
func (s *Server) facts(e detect.Evidence) []fact {
	var facts []fact
	add := func(name, text string) {
		if text != "" {
			facts = append(facts, fact{name, text})
		}
	}
	if r := e.RatePlatoPerDay; r != nil {
		add("Gravity falls by", bounds(r, "%.2f °P a day")+fmt.Sprintf("; %.1f points a day", r.Value/beer.PlatoPerPoint))
	}
	add("CO2 is made at", bounds(e.CO2GramsPerLiterDay, "%.2f g/L a day"))
	if e.Onset != nil {
		add("Began between", s.between(e.Onset))
	}
	s.measured(e, add)
	add("Seen by", pretty(strings.Join(e.Witnesses, ", ")))
	add("Same gas, and moved with it", strings.Join(e.Joined, ", "))
	add("Ruled out", pretty(strings.Join(e.RuledOut, ", ")))
	s.forecast(e.Forecast, add)
	return facts
}

// measured adds what stood on the gauges.
func (s *Server) measured(e detect.Evidence, add func(name, text string)) {
	figure := func(name string, value *float64, kind beer.Kind) {
		if value != nil {
			add(name, s.figure(*value, kind))
		}
	}
	figure("Beer temperature", e.TemperatureCelsius, beer.KindTemperature)
	figure("Crash setpoint", e.SetpointCelsius, beer.KindTemperature)
	figure("Head pressure", e.PressureKPa, beer.KindPressure)
	figure("Head pressure that is explained", e.ExplainedPressureKPa, beer.KindPressure)
	figure("Pressure relief valve set at", e.ReliefKPa, beer.KindPressure)
	add("Probe", e.Probe)
	if e.SilentSince != nil {
		add("Silent since", s.when(*e.SilentSince))
	}
}

// forecast adds what follows if it goes on.
func (s *Server) forecast(f *detect.Forecast, add func(name, text string)) {
	if f == nil {
		return
	}
	add("A further day adds alcohol", bounds(f.AddedABVPerDay, "%.2f % ABV"))
	add("A further day adds CO2", bounds(f.AddedVolumesPerDay, "%.2f volumes"))
	if f.LimitReached != nil {
		limit := f.Limit
		if limit == "" {
			limit = "the limit"
		}
		add("Reaches "+limit+" between", s.around(f.LimitReached))
	}
	s.outcome(f, add)
}

// outcome adds where it ends.
func (s *Server) outcome(f *detect.Forecast, add func(name, text string)) {
	if g := f.EndGravity; g != nil {
		add("Gravity will end at", s.figure(g.Value, beer.KindGravity)+" ("+s.figure(g.Low, beer.KindGravity)+" to "+s.figure(g.High, beer.KindGravity)+")")
	}
	if f.Still != nil {
		add("Gravity stands again between", s.around(f.Still))
	}
	add("Adds alcohol in all", bounds(f.AddedABV, "%.2f % ABV"))
	add("Adds CO2 in all", bounds(f.AddedVolumes, "%.2f volumes"))
	if p := f.PackageKPa; p != nil && f.StorageCelsius != nil {
		add("Packaged now and stored at "+s.figure(*f.StorageCelsius, beer.KindTemperature), s.figure(p.Value, beer.KindPressure)+
			" ("+s.figure(p.Low, beer.KindPressure)+" to "+s.figure(p.High, beer.KindPressure)+
			"); the package maker's rating and local law decide")
	}
	add("Of this forecast", f.Note)
}

// between writes a span of time.
func (s *Server) between(span *detect.Span) string {
	return s.when(span.Low) + " and " + s.when(span.High) + " (95 % sure)"
}

// around is the same of a time to come, of which nobody knows the minutes.
func (s *Server) around(span *detect.Span) string {
	w, now := alert.Words{Zone: s.Zone}, s.Clock()
	return w.Around(span.Low, now) + " and " + w.Around(span.High, now) + " (95 % sure)"
}

// bounds writes an estimate with its bounds; format has one verb for a figure, and its unit behind it.
func bounds(i *detect.Interval, format string) string {
	if i == nil {
		return ""
	}
	verb, unit, _ := strings.Cut(format, " ")
	return fmt.Sprintf(verb, i.Value) + " " + unit + fmt.Sprintf(" ("+verb+" to "+verb+")", i.Low, i.High)
}
