package scenario

import (
	"spile/detect"
	"spile/detect/cellarsim"
)

// Tank is one tank of a scenario: how it really is, and what spile is told of it.
type Tank struct {
	Model    cellarsim.Tank
	Settings detect.Settings
	lists    []list
	setpoint bool // it was said
}

// newTank is a tank of which nothing was said.
func newTank(name string) Tank {
	return Tank{Model: cellarsim.Unitank(name)}
}

// told fills in what follows from what was said: the thermostat holds the beer where it is, and the config says what an
// honest brewer would.
func (t *Tank) told() {
	if !t.setpoint {
		t.Model.Cooling.Setpoint = t.Model.Celsius
	}
	m := t.Model
	t.Settings = detect.Settings{
		BeerLiters: m.BeerLiters, HeadspaceLiters: m.HeadspaceLiters, ReliefKPa: m.ReliefKPa,
		Sealed: !m.Open && m.SpundKPa == 0 && m.HoldKPa == 0,
		At:     map[string]detect.Place{},
	}
}

// heard tells whether the tank has a probe of this name.
func (t *Tank) heard(probe string) bool {
	for _, p := range t.Model.Probes {
		if p.Name == probe {
			return true
		}
	}
	return false
}

// tankClauses say how a tank stands when the scenario begins. The bounds are those of the model and of common sense.
// It is read only.
var tankClauses = []clause[Tank]{
	{"beer", liters, 1, 200_000, func(t *Tank, g given) { t.Model.BeerLiters = g.figure }},
	{"headspace", liters, 1, 200_000, func(t *Tank, g given) { t.Model.HeadspaceLiters = g.figure }},
	{"relief", kPa, 10, 1000, func(t *Tank, g given) { t.Model.ReliefKPa = g.figure }},
	{"no relief", nothing, 0, 0, func(t *Tank, _ given) { t.Model.ReliefKPa = 0 }},
	{"temperature", celsius, -2, 40, func(t *Tank, g given) { t.Model.Celsius = g.figure }},
	{"setpoint", celsius, -2, 40, func(t *Tank, g given) { t.Model.Cooling.Setpoint, t.setpoint = g.figure, true }},
	{"pressure", kPa, -90, 1000, func(t *Tank, g given) { t.Model.GaugeKPa = g.figure }},
	{"air", share, 0, 1, func(t *Tank, g given) { t.Model.Air = g.figure }},
	{"original", degP, 0, 25.9, func(t *Tank, g given) { t.Model.OriginalPlato = g.figure }},
	{"extract", degP, 0, 25.9, func(t *Tank, g given) { t.Model.ExtractPlato = g.figure }},
	{"co2", co2, 0, 20, func(t *Tank, g given) { t.Model.DissolvedGramsPerLiter = g.figure }},
	{"exchange", hours, 0.05, 1000, func(t *Tank, g given) { t.Model.ExchangeLag = g.hours() }},
	{"open", nothing, 0, 0, func(t *Tank, _ given) { t.Model.Open, t.Model.GaugeKPa = true, 0 }},
	{"spund", kPa, 1, 1000, func(t *Tank, g given) { t.Model.SpundKPa = g.figure }},
	{"gas", kPa, 1, 1000, func(t *Tank, g given) { t.Model.HoldKPa = g.figure }},
	{"leak", share, 0, 20, func(t *Tank, g given) { t.Model.LeakPerDay = g.figure }},
	{"sun", kelvin, 0, 30, func(t *Tank, g given) { t.Model.DomeSwing = g.figure }},
	{"room", celsius, -30, 50, func(t *Tank, g given) { t.Model.Cooling.Room = g.figure }},
	{"room-swing", kelvin, 0, 30, func(t *Tank, g given) { t.Model.Cooling.RoomSwing = g.figure }},
	{"room-lag", hours, 1, 10_000, func(t *Tank, g given) { t.Model.Cooling.RoomLag = g.hours() }},
	{"jacket-lag", hours, 1, 10_000, func(t *Tank, g given) { t.Model.Cooling.JacketLag = g.hours() }},
	{"glycol", celsius, -30, 20, func(t *Tank, g given) { t.Model.Cooling.Glycol = g.figure }},
	{"band", kelvin, 0, 5, func(t *Tank, g given) { t.Model.Cooling.Band = g.figure }},
}

// configClauses say what spile is told where that differs. It is read only.
var configClauses = []clause[detect.Settings]{
	{"beer", liters, 1, 200_000, func(s *detect.Settings, g given) { s.BeerLiters = g.figure }},
	{"headspace", liters, 1, 200_000, func(s *detect.Settings, g given) { s.HeadspaceLiters = g.figure }},
	{"no volumes", nothing, 0, 0, func(s *detect.Settings, _ given) { s.BeerLiters, s.HeadspaceLiters = 0, 0 }},
	{"relief", kPa, 10, 1000, func(s *detect.Settings, g given) { s.ReliefKPa = g.figure }},
	{"no relief", nothing, 0, 0, func(s *detect.Settings, _ given) { s.ReliefKPa = 0 }},
	{"sealed", nothing, 0, 0, func(s *detect.Settings, _ given) { s.Sealed = true }},
	{"not sealed", nothing, 0, 0, func(s *detect.Settings, _ given) { s.Sealed = false }},
	{"gas-group", name, 0, 0, func(s *detect.Settings, g given) { s.GasGroup = g.word }},
	{"above", kelvin, 0.1, 20, func(s *detect.Settings, g given) { s.DriftAbove = g.figure }},
	{"below", kelvin, 0.1, 20, func(s *detect.Settings, g given) { s.DriftBelow = g.figure }},
}
