package cellarsim

import (
	"slices"
	"time"

	"spile/detect/beer"
)

// vessel is the physical state of one tank.
type vessel struct {
	now         time.Duration // since the cellar's start
	beer        float64       // L
	original    float64       // degP before fermentation
	extract     float64       // degP, apparent
	celsius     float64
	dissolved   float64 // g/L CO2
	head        head
	domeSwing   float64 // K that the sun lends the head space by day
	atmosphere  float64 // kPa absolute
	exchangeLag time.Duration
	stirred     bool
	stirredAt   time.Duration
	valves      valves
	cooling     thermostat
	courses     []course
	outflow     outflow
	ledger      ledger
	barometer   *barometer
}

// outflow is beer on its way to another tank.
type outflow struct {
	litersPerHour float64
	left          float64 // L
}

// advance brings the vessel to a moment in one step, each law in turn by its exact solution.
func (v *vessel) advance(to time.Duration) {
	hours := (to - v.now).Hours()
	v.warm(to, hours)
	v.ferment(to)
	v.exchange(hours)
	v.flow(hours)
	v.now = to
	v.regulate(hours)
}

// warm moves the beer's temperature, the head space's and the weather's.
func (v *vessel) warm(to time.Duration, hours float64) {
	v.celsius = v.cooling.follow(v.celsius, v.now, hours)
	v.atmosphere = v.barometer.at(to)
	v.head.celsius = v.celsius
	if v.domeSwing != 0 {
		v.head.celsius += v.domeSwing * max(0, day(to+v.cooling.midnight))
	}
}

// ferment moves the extract along its curves and dissolves the CO2 made.
func (v *vessel) ferment(to time.Duration) {
	resting := false
	for i := range v.courses {
		c := &v.courses[i]
		eaten := c.advance(to)
		v.extract -= eaten
		v.dissolved += eaten * c.co2
		v.ledger.made += eaten * c.co2 * v.beer
		resting = resting || c.atRest
	}
	if resting {
		v.courses = slices.DeleteFunc(v.courses, func(c course) bool { return c.atRest })
	}
}

// begin adds a curve from now on.
func (v *vessel) begin(c curve, co2 float64) {
	v.courses = append(v.courses, course{curve: c, start: v.now, co2: co2})
}

// yield is the CO2, g/L, that each degP eaten makes in this beer.
func (v *vessel) yield() float64 { return beer.CO2PerPlato(v.original) }

// flow lets beer run out.
func (v *vessel) flow(hours float64) {
	if v.outflow.left <= 0 {
		return
	}
	out := min(v.outflow.left, v.outflow.litersPerHour*hours)
	v.outflow.left -= out
	v.draw(out)
}

// grams is the CO2 in the tank.
func (v *vessel) grams() float64 { return v.dissolved*v.beer + v.head.co2*gramsPerMole }

// rate is the fall of the extract by yeast, degP per hour.
func (v *vessel) rate() float64 {
	sum := 0.0
	for _, c := range v.courses {
		if c.co2 > 0 {
			sum += c.curve.rate((v.now - c.start).Hours())
		}
	}
	return sum
}
