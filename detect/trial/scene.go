package trial

import (
	"time"

	"spile/detect"
	"spile/detect/cellarsim"
)

// scene is a run before it is run: the cellar's plan, what the detector is
// told, and the truths that stand in no plan.
type scene struct {
	draw
	class Class
	tank  cellarsim.Tank
	plan  cellarsim.Plan
	told  detect.Settings
	end   time.Duration

	wellLag  time.Duration // of the thermometer in the well, behind the beer
	comes    time.Duration // when spile is set up; 0: it is there from the beginning
	hopped   time.Duration
	valve    float64       // kPa, of a spunding valve; 0: none
	opened   time.Duration // blown down for the hops
	onset    time.Duration // of creep
	creep    cellarsim.Creep
	steps    []floatStep
	failed   stretch   // cooling
	gasOn    []stretch // CO2 left on, and nobody wrote it down
	stuck    stretch   // the float
	leakFrom time.Duration
	leaks    float64 // share of the gauge pressure that is lost in a day
	setpoint []change
	reader   *draw // who reads gravity by hand and logs it, and errs; nil: nobody
}

// floatStep is what hops did to the float.
type floatStep struct {
	at, relax time.Duration
	sg        float64
}

// change is a setpoint from its logging on.
type change struct {
	at      time.Duration // of the act
	celsius float64
	over    time.Duration // that the thermostat is given
}

// stretch is from one time to another; the zero value is never.
type stretch struct{ from, to time.Duration }

// forGood is later than any run.
const forGood = 1000 * 24 * time.Hour

// tankName is the name of every run's only tank.
const tankName = "FV1"

// begins is when every run begins: a Monday, as the shift comes.
func begins() time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) }

// newScene draws a run.
func newScene(seed uint64, class Class, index int) *scene {
	s := &scene{draw: newDraw(seed, class.Name, index), class: class}
	s.end = s.hours(10*24, 14*24)
	s.drawTank()
	s.drawProbes()
	s.drawHops()
	if !class.Quiet() {
		s.drawCreep()
	}
	class.story(s)
	s.plan = cellarsim.Plan{
		Start: begins(),
		Weather: cellarsim.Weather{
			MeanKPa: s.between(99.8, 102.8), Sigma: s.between(0.5, 1.5), Lag: s.hours(18, 48),
		},
		Tanks: []cellarsim.Tank{s.tank},
	}
	s.drawSettings()
	return s
}

// does puts something into the script that nobody writes down.
func (s *scene) does(at time.Duration, d cellarsim.Deed) {
	s.tank.Script = append(s.tank.Script, cellarsim.Act{At: at, Do: d, Unlogged: true})
}

// logs puts an act of people into the script, logged as people log, and says whether it was logged at all.
func (s *scene) logs(at time.Duration, d cellarsim.Deed) bool {
	a := cellarsim.Act{At: at, Do: d}
	switch x := s.Float64(); {
	case x < unloggedShare:
		a.Unlogged = true
	case x < unloggedShare+lateShare:
		a.Told = s.hours(0.5, 8)
	default:
		a.Told = s.hours(0, 0.2)
	}
	s.tank.Script = append(s.tank.Script, a)
	return !a.Unlogged
}

// How people log (judgement).
const (
	unloggedShare = 0.08
	lateShare     = 0.10
)

// has tells whether the tank has a probe.
func (s *scene) has(probe string) bool {
	for _, p := range s.tank.Probes {
		if p.Name == probe {
			return true
		}
	}
	return false
}
