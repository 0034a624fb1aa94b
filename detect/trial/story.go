package trial

import (
	"time"

	"spile/detect/cellarsim"
)

// The stories tell what happens after the hops.

// leftAlone is a tank that is sampled and nothing else.
func leftAlone(s *scene) { s.perhapsSample() }

// lateStart is a tank that spile is set up for after the hops. It is told of the crash, and of nothing else from before.
func lateStart(s *scene) {
	s.comes = s.hopped + s.hours(1, 30)
	leftAlone(s)
}

// perhapsWarming is a tank left alone, whose cooling fails in one run of four.
func perhapsWarming(s *scene) {
	if s.chance(0.25) {
		coolingFails(s)
		return
	}
	leftAlone(s)
}

// perhapsSample draws a small sample on one of the days, in half of the runs.
func (s *scene) perhapsSample() {
	if s.IntN(2) == 1 {
		s.logs(s.later(), cellarsim.Sample{Liters: s.between(0.3, 2)})
	}
}

// later is a time after the hops have gone in.
func (s *scene) later() time.Duration {
	return s.hopped + hours(s.between(6, (s.end-s.hopped).Hours()))
}

// doors is a tank in the sun with a coarse thermostat, whose room is opened again and again.
func doors(s *scene) {
	s.tank.DomeSwing = s.between(0, 6)
	s.tank.Cooling.Band = s.between(0.6, 0.8)
	s.tank.Cooling.RoomSwing = s.between(2, 5)
	for range 3 + s.IntN(10) {
		s.does(s.later(), cellarsim.Door{Celsius: s.tank.Cooling.Room + s.between(2, 12), For: s.hours(0.2, 3)})
	}
}

// coolingFails takes the glycol away, for good or for a day or more.
func coolingFails(s *scene) {
	s.perhapsSample()
	s.failed.from = s.hopped + s.hours(30, 120)
	if s.class.Quiet() && s.chance(0.35) {
		s.crashBefore()
	}
	s.failed.to = forGood
	deed := cellarsim.CoolingFails{}
	if s.chance(0.5) {
		deed.For = s.hours(12, 96)
		s.failed.to = s.failed.from + deed.For
	}
	s.does(s.failed.from, deed)
}

// crashBefore cools the beer in the days before its cooling fails.
func (s *scene) crashBefore() {
	c := s.turnsDown(s.hopped+s.hours(24, 48), s.between(2, 6))
	s.crashes(c)
	s.failed.from = c.at + s.hours(60, 110)
}

// turnsDown is a change of the setpoint, at once or, more often, over some hours.
func (s *scene) turnsDown(at time.Duration, celsius float64) change {
	c := change{at: at, celsius: celsius}
	if s.chance(0.6) {
		c.over = s.hours(6, 24)
	}
	return c
}

// crashes has somebody cool the beer, and log it.
func (s *scene) crashes(c change) {
	s.setpoint = append(s.setpoint, c)
	s.tank.Script = append(s.tank.Script, cellarsim.Act{At: c.at, Do: cellarsim.Crash{Celsius: c.celsius, Over: c.over}, Told: s.hours(0, 0.1)})
}

// handled is a tank that people work on: gas, samples, dumps, openings, rousing.
func handled(s *scene) {
	for range 3 + s.IntN(6) {
		at := s.later()
		if s.chance(0.3) { // some say that they are at it
			s.tank.Script = append(s.tank.Script, cellarsim.Act{At: at - 5*time.Minute, Do: cellarsim.Line{
				Event: "work", Amounts: map[string]float64{"for": one(s.draw, 1.0, 2, 3)},
			}})
		}
		s.handle(at)
	}
}

// handle does one thing to the tank.
func (s *scene) handle(at time.Duration) {
	relief := s.told.ReliefKPa
	switch s.IntN(6) {
	case 0, 1:
		s.logs(at, cellarsim.TopUp{KPa: s.between(40, 0.75*relief), Stone: s.chance(0.2)})
	case 2:
		s.logs(at, cellarsim.Sample{Liters: s.between(0.5, 10)})
	case 3:
		s.logs(at, cellarsim.Dump{Liters: s.tank.BeerLiters * s.between(0.005, 0.05), Hops: s.chance(0.3)})
	case 4:
		s.logs(at, cellarsim.Vent{})
		s.logs(at+s.hours(0.1, 1), cellarsim.Seal{Air: s.air()})
	case 5:
		s.logs(at, cellarsim.Rouse{KPa: s.between(50, 0.75*relief)})
	}
}

// gasLeftOn leaves CO2 on behind a regulator, and takes it off again.
func gasLeftOn(s *scene) {
	at := s.hopped + s.hours(24, 140)
	off := at + s.hours(3, 72)
	told := s.logs(at, cellarsim.GasHold{KPa: s.between(40, 0.7*s.told.ReliefKPa)})
	s.logs(off, cellarsim.GasOff{})
	if !told {
		s.gasOn = append(s.gasOn, stretch{at, off})
	}
}

// coldCrash cools the beer to 2 degC. The tank is closed, some of them at little pressure.
func coldCrash(s *scene) {
	s.perhapsSample()
	at := s.hopped + s.hours(72, 130)
	c := s.turnsDown(at, 2)
	if s.chance(0.5) { // somebody lets gas off before, to be let down by it
		s.logs(at-s.hours(2, 6), cellarsim.Vent{})
		s.logs(at-s.hours(0.5, 2), cellarsim.Seal{})
	}
	s.crashes(c)
}

// leaking is a tank that loses gas from a day on: half of them 2 kPa an hour and more, half too slowly to matter tonight.
func leaking(s *scene) {
	s.leakFrom = s.hopped + s.hours(24, 100)
	s.leaks = s.ratio(0.7, 3)
	if s.chance(0.5) {
		s.leaks = s.ratio(0.02, 0.3)
	}
	s.does(s.leakFrom, cellarsim.Leaks{PerDay: s.leaks})
}

// roughRadio is a cellar of steel: gaps, losses, repeats, late messages, a float that sticks, a probe that falls silent.
func roughRadio(s *scene) {
	s.perhapsSample()
	for i := range s.tank.Probes {
		r := &s.tank.Probes[i].Radio
		r.LossShare, r.RepeatShare, r.LateShare, r.LateBy = s.between(0, 0.1), s.between(0, 0.1), s.between(0, 0.1), s.hours(0.1, 1)
		r.GapsPerDay, r.GapLength, r.Buffered = s.between(0.3, 2), s.hours(0.5, 6), s.chance(0.5)
	}
	if s.chance(0.3) {
		at, lasts := s.later(), s.hours(6, 48)
		s.stuck = stretch{at, at + lasts}
		s.does(at, cellarsim.ProbeSticks{Probe: floatName, For: lasts})
	}
	if s.chance(0.5) {
		s.does(s.later(), cellarsim.ProbeFallsSilent{Probe: one(s.draw, floatName, wellName, gaugeName), For: s.hours(4, 60)})
	}
}
