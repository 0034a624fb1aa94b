package alert_test

import (
	"math"
	"math/rand/v2"

	"spile/detect"
)

// The second cellar is a tank after its dry-hop that shares nothing with detect/cellarsim: other formulas, other noise,
// other scripts. What spile finds in it does not hang on how the first was written.
//
// CO2 dissolves by Henry's constant of CO2 in water: 3.3e-4 mol/(m3 Pa) at 298.15 K, with 2400 K (R. Sander, Atmos. Chem.
// Phys. 15, 4399, 2015), some per cent from that of beer. It is made by Balling: 2.0665 g of real extract give 0.9565 g,
// and a degP of apparent extract is 0.8192 degP of real. A degP is 0.0039 SG (SG 20/20 = 259/(259 - degP), at 3 degP).
type secondTank struct {
	*rand.Rand

	minute     int
	beer, head float64 // L
	grams      float64 // CO2 in a liter of beer
	co2, air   float64 // mol in the head
	barometer  float64 // kPa, wanders by the hour
	lag        float64 // h, of the exchange
	quickLag   float64 // h, the same for a day after the hops
	hopped     int     // minute
	opened     bool
	valve      float64 // kPa absolute, above which gas leaves
	shuts      float64 // kPa absolute, at which the valve shuts once it has lifted; 0: it hisses
	held       float64 // kPa absolute, below which a regulator lets CO2 in
	leak       float64 // mol a minute and kPa
	stirred    int     // the minute until which the beer is moved

	celsius, setpoint, room float64
	glycol                  float64 // K an hour, when open
	cooled                  bool
	failed                  int // the minute from which no glycol comes; 0: it does

	creep      float64 // degP in all
	woken      float64 // h
	ramp, fade float64 // h, up in a line and down by an exponential
	eaten      float64 // degP

	acts []secondAct
}

// secondAct is done in a minute, logged, or both.
type secondAct struct {
	at  int
	do  func()
	log *detect.Event
}

const (
	gasConstant = 8.314462618e-3 // m3 kPa/(mol K)
	gramsAMol   = 44.0095        // of CO2
	outside     = 101.325        // kPa
)

// holds is the CO2 in g that a liter holds for each kPa.
func holds(celsius float64) float64 {
	return 3.3e-4 * math.Exp(2400*(1/(celsius+273.15)-1/298.15)) * gramsAMol
}

// kPa is the head's pressure, absolute.
func (t *secondTank) kPa() float64 {
	return (t.co2 + t.air) * gasConstant * (t.celsius + 273.15) / (t.head / 1000)
}

func (t *secondTank) lose(mol float64) {
	pure := t.co2 / (t.co2 + t.air)
	t.co2 -= mol * pure
	t.air -= mol * (1 - pure)
}

// blowDown lets gas off down to a gauge pressure, topUp lets CO2 in up to one.
func (t *secondTank) blowDown(gauge float64) {
	if p := t.kPa(); p > outside+gauge {
		t.lose((t.co2 + t.air) * (1 - (outside+gauge)/p))
	}
}

func (t *secondTank) topUp(gauge float64) {
	if short := outside + gauge - t.kPa(); short > 0 {
		t.co2 += short * t.head / 1000 / (gasConstant * (t.celsius + 273.15))
	}
}

// pass is what happens in a minute.
func (t *secondTank) pass() {
	for _, a := range t.acts {
		if a.at == t.minute && a.do != nil {
			a.do()
		}
	}
	if t.celsius > t.setpoint+0.25 || t.celsius < t.setpoint-0.25 {
		t.cooled = t.celsius > t.setpoint
	}
	t.celsius += (t.room - t.celsius) / (60 * 60)
	if t.cooled && (t.failed == 0 || t.minute < t.failed) {
		t.celsius -= t.glycol / 60
	}
	t.ferment(float64(t.minute)/60 - t.woken)
	t.exchange()
	t.barometer += (outside-t.barometer)/(36*60) + 0.8*math.Sqrt(2/(36*60.0))*t.NormFloat64()
	t.pipes()
	t.minute++
}

func (t *secondTank) ferment(h float64) {
	if t.creep == 0 || h < 0 {
		return
	}
	rate := t.creep / (t.ramp/2 + t.fade) // degP an hour, at its top
	if h < t.ramp {
		rate *= h / t.ramp
	} else {
		rate *= math.Exp(-(h - t.ramp) / t.fade)
	}
	t.eaten += rate / 60
	t.grams += rate / 60 * 0.8192 * 10.1 * 0.9565 / 2.0665
}

// exchange brings beer and head nearer to each other.
func (t *secondTank) exchange() {
	lag := t.lag
	if since := t.minute - t.hopped; since >= 0 && since < 24*60 {
		lag = t.quickLag
	}
	if t.minute < t.stirred {
		lag = min(lag, 0.3)
	}
	const steps = 20 // a little gas over much beer follows it within the minute
	for range steps {
		grams := (t.grams - holds(t.celsius)*t.kPa()*t.co2/(t.co2+t.air)) / (steps * 60 * lag)
		t.grams -= grams
		t.co2 += grams * t.beer / gramsAMol
	}
}

// pipes is what passes through leak, valve, regulator and hatch.
func (t *secondTank) pipes() {
	if over := t.kPa() - t.barometer; over > 0 {
		t.lose(t.leak * over)
	}
	t.topUp(t.held - outside)
	least := t.valve
	if t.shuts > 0 && t.kPa() > t.valve {
		least = t.shuts
	}
	if t.opened {
		least = t.barometer
		if p := t.kPa(); p < least {
			t.air += (t.co2 + t.air) * (least/p - 1)
		}
	}
	t.blowDown(least - outside)
}
