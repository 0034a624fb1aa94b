package batch

import (
	"fmt"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/beer"
	"spile/detect/caution"
)

// Before says what an act in the log leads to, by what was read up to it: where the head pressure ends, what CO2 a valve
// will give, what its hold point said. Empty: nothing to say. It is never permission.
func (r *Record) Before(e detect.Event) []string {
	s := r.story(e.Time.Add(-time.Millisecond))
	var out []string
	switch e.Name {
	case "crash":
		out = s.doubted(s.crashPoint())
		if setpoint, ok := e.Amount("setpoint"); ok {
			out = append(out, s.cooledTo(setpoint)...)
		}
	case "dry-hop":
		if e.Word("kind") != "active" {
			out = append(s.doubted(s.dryHopPoint()), s.closedAgain()...)
		}
	case "package":
		out = s.doubted(s.packagePoint())
	case "vent":
		if kPa, held := e.Amount("pressure"); held && kPa > 0 {
			out = s.spunded(kPa)
		}
	case "seal":
		out = s.closedAgain()
	}
	return out
}

// doubted says that a hold point was not passed, and why.
func (s *story) doubted(p HoldPoint) []string {
	switch p.Verdict {
	case No:
		return []string{"The hold point before this says no. " + p.Lacking()}
	case Unknown:
		return []string{"The hold point before this cannot be told yet. " + p.Lacking()}
	case Yes:
	}
	return nil
}

// gas is how the tank holds its pressure by the log, and what holds it.
func (s *story) gas() (how detect.Gas, kPa float64) {
	how = detect.GasUnknown
	if s.settings.Sealed {
		how = detect.GasClosed
	}
	for _, e := range s.effective(s.at) {
		switch e.Name {
		case "seal":
			how, kPa = detect.GasClosed, 0
		case "vent":
			how, kPa = detect.GasOpen, 0
			if held, ok := e.Amount("pressure"); ok && held > 0 {
				how, kPa = detect.GasHeldAbove, held
			}
		case "gas":
			if held, ok := e.Amount("hold"); ok {
				how, kPa = detect.GasHeldBelow, held
			} else if e.Word("hold") == "off" {
				how, kPa = detect.GasClosed, 0
			}
		}
	}
	return how, kPa
}

// vessel is the tank as a closed one, from what was read last; ok is false where something is missing.
func (s *story) vessel() (tank beer.ClosedTank, ok bool) {
	liters, known := s.volume()
	celsius, _, _, warmth := s.reading(detect.Temperature, s.at.Add(-6*time.Hour), s.at)
	kPa, _, _, gauge := s.reading(detect.Pressure, s.at.Add(-6*time.Hour), s.at)
	tank = beer.ClosedTank{
		Celsius: celsius, GaugeKPa: kPa, BeerLiters: liters, HeadspaceLiters: s.headspace(liters), AtmosphereKPa: s.atmosphere(),
	}
	return tank, known && warmth && gauge && tank.HeadspaceLiters > 0 && tank.Check() == nil
}

// headspace is what the beer leaves of the tank, L.
func (s *story) headspace(liters float64) float64 {
	if s.settings.HeadspaceLiters == 0 {
		return 0
	}
	return max(0, s.settings.HeadspaceLiters+s.settings.BeerLiters-liters)
}

// vacuumNear is how near to the atmosphere a forecast may come before it says so, kPa: the model's own error.
const vacuumNear = 5.0

// cooledTo says where head pressure would end if the tank, closed as it stands, were cooled.
func (s *story) cooledTo(celsius float64) []string {
	tank, ok := s.vessel()
	if !ok || tank.Celsius <= celsius+0.5 {
		return nil
	}
	how, held := s.gas()
	switch {
	case how == detect.GasHeldBelow:
		return []string{fmt.Sprintf("CO2 is left on at %s by the log: it fills up what cooling takes, as long as the bottle lasts", s.pressure(held))}
	case how == detect.GasOpen && tank.GaugeKPa < s.limits.OpenKPa:
		return []string{"The tank is open by the log: cooling draws air in, and the beer takes it up. Closed as it is it would be pulled flat: put CO2 on before it is closed"}
	}
	end := tank.AfterTemperature(celsius)
	doubt := beer.CO2UncertaintyAt(celsius, end.GaugeKPa) * end.PartialKPa()
	text := fmt.Sprintf("closed as it is, at %s and %s now, it ends near %s at %s, give or take %s, if no gas is added",
		s.celsius(tank.Celsius), s.pressure(tank.GaugeKPa), s.pressure(end.GaugeKPa), s.celsius(celsius), s.pressure(doubt))
	switch {
	case end.GaugeKPa < 0:
		text += ". That is below the atmosphere: put CO2 on first, or leave it held, and watch the gauge"
	case end.GaugeKPa < vacuumNear+doubt:
		text += ". That may pass below the atmosphere: put CO2 on first, or leave it held, and watch the gauge"
	}
	return []string{capital(text)}
}

// spunded says what CO2 a valve's setting gives at this temperature, and whether the vessel allows what is wanted.
func (s *story) spunded(kPa float64) []string {
	celsius, _, _, ok := s.reading(detect.Temperature, s.at.Add(-6*time.Hour), s.at)
	if !ok {
		return nil
	}
	grams, err := beer.CO2Solubility(celsius, kPa+s.atmosphere())
	if err != nil {
		return nil
	}
	doubt := beer.CO2UncertaintyAt(celsius, kPa)
	text := fmt.Sprintf("A valve at %s gives about %.2f volumes of CO2 (%.2f to %.2f) at %s, once beer and head space have settled",
		s.pressure(kPa), beer.Volumes(grams), beer.Volumes(grams*(1-doubt)), beer.Volumes(grams*(1+doubt)), s.celsius(celsius))
	out := []string{text}
	if target := s.targetVolumes(); target > 0 {
		out = append(out, s.reachable(target, celsius)...)
	}
	if r := s.settings.ReliefKPa; r > 0 && kPa > r {
		out = append(out, fmt.Sprintf("That is above the relief valve's %s: the relief would hold it instead, which is not its work", s.pressure(r)))
	}
	return out
}

// reachable says what pressure a target takes here, and whether the vessel allows it.
func (s *story) reachable(target, celsius float64) []string {
	absolute, err := beer.EquilibriumPressure(celsius, beer.GramsPerLiter(target))
	if err != nil {
		return nil
	}
	need := absolute - s.atmosphere()
	text := fmt.Sprintf("%.2f volumes take %s at %s", target, s.pressure(need), s.celsius(celsius))
	if r := s.settings.ReliefKPa; r > 0 && need > r {
		text += fmt.Sprintf(": not reachable here, for the relief valve is set at %s. Finish it cold", s.pressure(r))
	}
	return []string{capital(text)}
}

// closedAgain says how far head pressure climbs with no yeast at work once a tank that was blown down is closed: what
// the beer still holds comes out of it, over what air was let in.
func (s *story) closedAgain() []string {
	vent, vented := s.last("vent", "seal", "gas")
	if _, held := vent.Amount("pressure"); !vented || vent.Name != "vent" || held {
		return nil
	}
	before, ok := s.asOf(vent.Time.Add(-time.Millisecond)).vessel()
	if !ok || before.GaugeKPa < s.limits.OpenKPa {
		return nil
	}
	pure, air := climb(before, 0), climb(before, 0.5)
	text := fmt.Sprintf("Closed again it climbs back to about %s with no yeast at work, for the beer still holds its CO2; to %s where half of what stands over it is air, so purge it",
		s.pressure(pure), s.pressure(air))
	if r := s.settings.ReliefKPa; r > 0 && air > r {
		text += fmt.Sprintf(". The relief valve is set at %s", s.pressure(r))
	}
	return []string{text}
}

// climb is the gauge pressure at rest of a tank that was blown down and closed with a share of air over its beer.
func climb(before beer.ClosedTank, air float64) float64 {
	after := before
	after.GaugeKPa, after.InertKPa = 0, air*before.AtmosphereKPa
	return after.AfterAdding(before.DissolvedGrams() - after.DissolvedGrams()).GaugeKPa
}

// outlook is what today's curves lead to if nothing is done, in words.
func (s *story) outlook() []string {
	out := []string{}
	if text := s.towardRelief(); text != "" {
		out = append(out, text)
	}
	if text := s.gone(); text != "" {
		out = append(out, text)
	}
	return out
}

// What a rise of head pressure must be to be carried on.
const (
	risePast   = 12 * time.Hour
	riseLeast  = 0.3 // kPa/h
	riseSoon   = 72 * time.Hour
	riseBlocks = 24 // of five minutes, at least
)

// towardRelief says when the relief setting comes at today's rate.
func (s *story) towardRelief() string {
	relief := s.settings.ReliefKPa
	head, probe, ok := s.newest(detect.Pressure, s.at.Add(-time.Hour), s.at)
	if !ok || relief <= 0 || head.Value >= relief {
		return ""
	}
	since := detect.Later(s.at.Add(-risePast), s.lastTime("vent", "seal", "gas", "dry-hop", "rouse", "yeast-off", "hops-off", "transfer"))
	var n, t, p, tt, tp float64
	for _, h := range s.curves[detect.Pressure][probe].until(s.at) {
		if h.Start.After(since) {
			x := h.Start.Sub(since).Hours()
			n, t, p, tt, tp = n+1, t+x, p+h.Value, tt+x*x, tp+x*h.Value
		}
	}
	if n < riseBlocks {
		return ""
	}
	rate := (tp - t*p/n) / (tt - t*t/n)
	wait := time.Duration((relief - head.Value) / rate * float64(time.Hour))
	if rate < riseLeast || wait > riseSoon {
		return ""
	}
	return fmt.Sprintf("Head pressure rises %s an hour: at this rate the relief setting of %s comes in %s. %s",
		s.pressure(rate), s.pressure(relief), detect.Roughly(wait), caution.BriefOverPressure)
}

// gone lists what has left the tank since a creep began: it ferments on where it is now.
func (s *story) gone() string {
	var onset time.Time
	for _, a := range s.alarms {
		if a.Alarm == detect.Refermentation && !a.Raised.After(s.at) && !a.Onset.Before(s.began) {
			onset = a.Onset
		}
	}
	if onset.IsZero() {
		return ""
	}
	var left []string
	for _, e := range s.lines {
		if (e.Name == "package" || e.Name == "transfer") && e.Time.After(onset) {
			said := e
			said.Time = e.Time.In(s.settings.Zone)
			_, figures, _ := strings.Cut(said.Echo(), ": ")
			left = append(left, strings.TrimSpace(s.clock(e.Time)+" "+e.Name+" "+figures))
		}
	}
	if len(left) == 0 {
		return ""
	}
	return fmt.Sprintf("Yeast has worked since %s, and this left the tank after it: %s. Hold it cold, and do not handle it warm",
		s.clock(onset), strings.Join(left, "; "))
}
