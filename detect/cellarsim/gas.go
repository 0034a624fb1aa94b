package cellarsim

import (
	"math"
	"time"

	"spile/detect/beer"
)

// Constants of gas.
const (
	gasConstant  = 8.314462618 // kPa L/(mol K), CODATA 2018
	gramsPerMole = 44.0095     // CO2, IUPAC standard atomic weights
	zeroCelsius  = 273.15      // K
)

// How hops, rousing and gas through a stone hasten the exchange of CO2 (common practice: hours become minutes, then go
// back; the figures are a judgement).
const (
	stirredShare = 0.1            // of the lag, while stirred
	stirredFor   = 24 * time.Hour // at its fastest
	settling     = 12 * time.Hour // time constant of the way back
)

// head is the gas over the beer.
type head struct {
	liters  float64
	co2     float64 // mol
	inert   float64 // mol, air or nitrogen
	celsius float64
}

// perMole is what a mole adds to the pressure, kPa.
func (h *head) perMole() float64 { return gasConstant * (h.celsius + zeroCelsius) / h.liters }

// absolute is the pressure, kPa absolute.
func (h *head) absolute() float64 { return (h.co2 + h.inert) * h.perMole() }

// fill sets the gas to a pressure, of which a share is air.
func (h *head) fill(absoluteKPa, air float64) {
	moles := absoluteKPa / h.perMole()
	h.inert, h.co2 = air*moles, (1-air)*moles
}

// ledger counts the CO2 that the yeast made and that crossed the tank's walls, in grams.
type ledger struct {
	start  float64 // in beer and head space when the model began
	made   float64 // by yeast
	added  float64 // from a bottle
	vented float64 // out of the head space
	drawn  float64 // with beer that left
}

// exchange lets CO2 pass between beer and head space for some hours.
//
// With x = C - H p the excess in the beer, dC/dt = -x/tau and the head space takes what the beer gives; H p then rises
// by share for each g/L given, so x dies away with tau/(1+share). Stepping by that solution is stable however short
// tau is, and moves the same grams on both sides. Over an open tank the pressure stays, and share is nothing for beer
// that gives off gas.
func (v *vessel) exchange(hours float64) {
	solubility := beer.Henry(v.celsius)
	perMole := v.head.perMole()
	excess := v.dissolved - solubility*v.head.co2*perMole
	share := solubility * perMole * v.beer / gramsPerMole
	if v.valves.open && excess > 0 {
		share = 0
	}
	moved := -excess * math.Expm1(-(1+share)*hours/v.lagHours()) / (1 + share)
	v.dissolved -= moved
	v.head.co2 += moved * v.beer / gramsPerMole
}

// lagHours is the exchange lag now: a tenth after hops or rousing, and then back over a day or two.
func (v *vessel) lagHours() float64 {
	lag := v.exchangeLag.Hours()
	if !v.stirred {
		return lag
	}
	since := v.now - v.stirredAt
	if since < stirredFor {
		return lag * stirredShare
	}
	rest := math.Exp(-float64(since-stirredFor) / float64(settling))
	return lag * (1 - (1-stirredShare)*rest)
}

// stir hastens the exchange from now on.
func (v *vessel) stir() { v.stirred, v.stirredAt = true, v.now }

// gauge is the head pressure over the air outside, kPa.
func (v *vessel) gauge() float64 { return v.head.absolute() - v.atmosphere }

// ventTo lets gas out, mixed as it is, down to a gauge pressure. A pressure already lower stays.
func (v *vessel) ventTo(gaugeKPa float64) {
	share := (gaugeKPa + v.atmosphere) / v.head.absolute()
	if share >= 1 {
		return
	}
	v.ledger.vented += v.head.co2 * (1 - share) * gramsPerMole
	v.head.co2 *= share
	v.head.inert *= share
}

// feedTo puts CO2 on, up to a gauge pressure. A pressure already higher stays.
func (v *vessel) feedTo(gaugeKPa float64) {
	if missing := gaugeKPa - v.gauge(); missing > 0 {
		v.feed(missing / v.head.perMole() * gramsPerMole)
	}
}

// feed puts some grams of CO2 into the head space.
func (v *vessel) feed(grams float64) {
	v.head.co2 += grams / gramsPerMole
	v.ledger.added += grams
}

// breathe brings the head space to the air's pressure: gas goes out as it is mixed, or air comes in.
func (v *vessel) breathe() {
	v.ventTo(0)
	if missing := -v.gauge(); missing > 0 {
		v.head.inert += missing / v.head.perMole()
	}
}

// draw takes beer out, with the CO2 it holds; the gas spreads into the room that it leaves. A liter stays.
func (v *vessel) draw(liters float64) {
	out := max(0, min(liters, v.beer-1))
	v.beer -= out
	v.head.liters += out
	v.ledger.drawn += out * v.dissolved
}
