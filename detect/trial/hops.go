package trial

import (
	"math"
	"time"

	"spile/detect/cellarsim"
)

// drawHops draws the cold dry-hop: the tank is blown down, hops go in, and it is closed, spunded or left open.
func (s *scene) drawHops() {
	s.hopped = s.hours(20, 30)
	s.opened = s.hopped - s.hours(0.1, 1)
	s.logs(s.opened, cellarsim.Vent{})
	s.tank.Script = append(s.tank.Script, cellarsim.Act{
		At: s.hopped, Do: cellarsim.Hop{Grams: s.tank.BeerLiters * s.between(2, 12), Leach: s.between(0, 0.06), Steep: s.hours(3, 12)},
		Told: s.hours(0, 0.5), Unlogged: s.chance(0.02),
	})
	if s.has(floatName) {
		s.drawHopSteps()
	}
	s.close(s.hopped + s.openFor())
}

// openFor is how long the tank stands open after the hops.
func (s *scene) openFor() time.Duration {
	if s.class.Name == "blown-down" {
		return s.hours(2, 12)
	}
	return s.hours(0.1, 2)
}

// close ends the opening in the way of the class.
func (s *scene) close(at time.Duration) {
	switch s.class.Gas {
	case vented:
		if s.chance(0.5) {
			return // stays open
		}
		s.logs(at, cellarsim.Seal{Air: s.air()})
	case spunded:
		if s.chance(0.2) {
			return // stays open
		}
		s.valve = s.spund()
		s.logs(at, cellarsim.SpundAt{KPa: s.valve})
	case sealed:
		s.logs(at, cellarsim.Seal{Air: s.air()})
		if s.chance(0.5) {
			s.logs(at+s.hours(0.1, 0.5), cellarsim.TopUp{KPa: s.between(20, 0.6*s.told.ReliefKPa)})
		}
	}
}

// spund is what a valve is set to: mostly below the pressure at which the beer rests, so that gas passes whatever the
// yeast does; some higher, so that the valve is met later or never.
func (s *scene) spund() float64 {
	if s.chance(0.75) {
		return s.tank.GaugeKPa * s.between(0.1, 0.6)
	}
	return s.between(40, 0.7*s.told.ReliefKPa)
}

// air is the share that is left over the beer at closing: purged well, or badly.
func (s *scene) air() float64 {
	if s.class.Name != "blown-down" && s.chance(0.7) {
		return s.between(0, 0.1)
	}
	return s.between(0.1, 0.6)
}

// drawHopSteps draws what hops do to a float that swims among them: a step that relaxes, sometimes a second one.
func (s *scene) drawHopSteps() {
	first := s.either(largestHopStep)
	s.step(s.hopped, first)
	if s.chance(0.3) {
		s.step(s.hopped+s.hours(2, 36), s.either(largestHopStep-math.Abs(first)))
	}
}

const largestHopStep = 0.0035 // SG

func (s *scene) step(at time.Duration, sg float64) {
	f := floatStep{at: at, relax: s.hours(8, 30), sg: sg}
	s.steps = append(s.steps, f)
	s.does(at, cellarsim.FloatStep{Probe: floatName, SG: sg, Relax: f.relax})
}

// drawCreep draws yeast that wakes one to three days after the hops.
func (s *scene) drawCreep() {
	s.onset = s.hopped + s.hours(24, 72)
	s.creep = cellarsim.Creep{
		Plato: s.between(s.class.Creep[0], s.class.Creep[1]), Ramp: s.hours(10, 24), Decay: s.hours(30, 100),
	}
	s.does(s.onset, s.creep)
}

// eaten is the extract that creep has taken by a time, degP: its rate rises in a straight line over the ramp, then dies
// away exponentially.
func eaten(c cellarsim.Creep, since time.Duration) float64 {
	x, ramp, decay := since.Hours(), c.Ramp.Hours(), c.Decay.Hours()
	peak := c.Plato / (ramp/2 + decay)
	switch {
	case x <= 0:
		return 0
	case x < ramp:
		return peak * x * x / (2 * ramp)
	}
	return peak * (ramp/2 + decay*(1-math.Exp((ramp-x)/decay)))
}
