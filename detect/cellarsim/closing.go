package cellarsim

import "time"

// Vent blows the tank down and leaves it open to the air.
type Vent struct{}

func (Vent) do(r *rig) {
	r.vessel.valves.open, r.vessel.valves.held, r.vessel.valves.spund = true, false, 0
	r.vessel.breathe()
}

func (Vent) entry() *entry { return line("vent", nil) }

// Seal closes the tank. Air is the share of air that is left over the beer at that moment, 0 when purged well; the gas
// there is changed for that mixture.
type Seal struct{ Air float64 }

func (d Seal) do(r *rig) {
	v := &r.vessel
	before := v.head.co2
	v.head.fill(v.head.absolute(), d.Air)
	if more := (v.head.co2 - before) * gramsPerMole; more > 0 {
		v.ledger.added += more
	} else {
		v.ledger.vented -= more
	}
	v.valves.open, v.valves.held, v.valves.spund = false, false, 0
}

func (d Seal) flaw() string {
	if !(d.Air >= 0 && d.Air <= 1) {
		return "Air is a share, 0 to 1"
	}
	return ""
}

func (Seal) entry() *entry { return line("seal", nil) }

// SpundAt closes the tank under a spunding valve: a ceiling of head pressure.
type SpundAt struct{ KPa float64 } // gauge

func (d SpundAt) do(r *rig) {
	r.vessel.valves.open, r.vessel.valves.held, r.vessel.valves.spund = false, false, d.KPa
	r.vessel.regulate(0)
}

func (d SpundAt) flaw() string { return unlessAbove(d.KPa) }

func (d SpundAt) entry() *entry { return line("vent", map[string]float64{"pressure": d.KPa}) }

// GasHold closes the tank and leaves CO2 on behind a regulator: a floor of head pressure. A worn regulator creeps upward.
type GasHold struct {
	KPa          float64 // gauge
	CreepPerHour float64 // kPa/h
}

func (d GasHold) do(r *rig) {
	w := &r.vessel.valves
	w.open, w.held, w.hold, w.creep, w.heldFrom = false, true, d.KPa, d.CreepPerHour, r.vessel.now
	r.vessel.regulate(0)
}

func (d GasHold) flaw() string { return unlessAbove(d.KPa) }

func (d GasHold) entry() *entry { return line("gas", map[string]float64{"hold": d.KPa}) }

// unlessAbove is the flaw of a valve that holds no pressure.
func unlessAbove(kPa float64) string {
	if kPa > 0 {
		return ""
	}
	return "KPa is above 0, or it holds nothing"
}

// GasOff takes that CO2 off again.
type GasOff struct{}

func (GasOff) do(r *rig)     { r.vessel.valves.held = false }
func (GasOff) entry() *entry { return line("gas", nil).say("hold", "off") }

// TopUp puts CO2 on by hand, to a gauge pressure, once. Through the stone it stirs the beer.
type TopUp struct {
	KPa   float64 // gauge
	Stone bool
}

func (d TopUp) do(r *rig) {
	if d.Stone {
		r.vessel.stir()
	}
	r.vessel.feedTo(d.KPa)
}

func (d TopUp) entry() *entry { return line("gas", map[string]float64{"to": d.KPa}) }

// Rouse blows CO2 through the beer to wake the yeast or the hops: pressure rises to KPa and the exchange hastens.
type Rouse struct{ KPa float64 } // gauge, 30 to 100 over what was there

func (d Rouse) do(r *rig) {
	r.vessel.stir()
	r.vessel.feedTo(d.KPa)
}

func (Rouse) entry() *entry { return line("rouse", nil) }

// Leaks makes the tank lose a share of its gauge pressure in a day, from now on; zero mends it.
type Leaks struct {
	PerDay float64
	silent
}

func (d Leaks) do(r *rig) { r.vessel.valves.leakPerDay = d.PerDay }

// Crash sends the thermostat to a new setpoint, in a straight line over some time.
type Crash struct {
	Celsius float64
	Over    time.Duration // 0: at once; 6 to 24 h is usual
}

func (d Crash) do(r *rig) {
	c := &r.vessel.cooling
	c.ramp = ramp{from: c.setpoint(r.vessel.now), to: d.Celsius, start: r.vessel.now, over: d.Over}
}

func (d Crash) entry() *entry {
	return &entry{name: "crash", amounts: map[string]float64{"setpoint": d.Celsius}}
}

// CoolingFails keeps the glycol away for some time.
type CoolingFails struct {
	For time.Duration // 0: for good
	silent
}

func (d CoolingFails) do(r *rig) { r.vessel.cooling.jamAs(jammedShut, r.vessel.now, d.For) }

// ValveSticksOpen lets the glycol run for some time, whatever the thermostat says.
type ValveSticksOpen struct {
	For time.Duration // 0: for good
	silent
}

func (d ValveSticksOpen) do(r *rig) { r.vessel.cooling.jamAs(jammedOpen, r.vessel.now, d.For) }

// Door leaves the door of the cold room open: the room is at Celsius for some time.
type Door struct {
	Celsius float64
	For     time.Duration
	silent
}

func (d Door) do(r *rig) { r.vessel.cooling.door = door{d.Celsius, r.vessel.now + d.For} }
