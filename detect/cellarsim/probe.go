package cellarsim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// Probe is what measures in a tank and sends.
type Probe struct {
	Name     string
	Interval time.Duration // between samples, 1 s to 1 h
	Phase    time.Duration // of the first sample
	Clock    time.Duration // how far the probe's own clock is ahead of the true time
	Shape    Shape         // of its messages

	Gravity     *Sense // nil: not measured
	Temperature *Sense
	Pressure    *Sense
	Float       Float // errors that come with swimming, for Gravity
	Radio       Radio

	Battery int // percent of its charge, said in each message of the Flat shapes; 0: it says nothing of it
	Signal  int // dBm, said likewise; 0: it says nothing of it
}

// Float is what a swimming hydrometer suffers.
type Float struct {
	PerKelvin     float64       // SG/K, of a temperature coefficient that nobody corrected; -1e-4 to 1e-4
	ReferenceC    float64       // degC at which it is right
	HopStep       float64       // SG, standard deviation of the step that hops cause; 0.0005 to 0.003
	HopRelaxShort time.Duration // that step's time constant lies between these two; 0: 8 h
	HopRelaxLong  time.Duration // 0: 30 h
}

// The relaxation of hop steps, where a Float gives none: a day or two (common practice).
const (
	usualRelaxShort = 8 * time.Hour
	usualRelaxLong  = 30 * time.Hour
)

// check names the first thing that makes no probe.
func (p Probe) check() error {
	switch {
	case !name.MatchString(p.Name):
		return fmt.Errorf("probe %q: a name is 1 to 32 letters, digits, dots, dashes or underscores", p.Name)
	case p.Interval < time.Second:
		return fmt.Errorf("probe %s: interval %s; a second is the least", p.Name, p.Interval)
	case p.Phase < 0:
		return fmt.Errorf("probe %s: phase %s lies before the start", p.Name, p.Phase)
	case p.Gravity == nil && p.Temperature == nil && p.Pressure == nil:
		return fmt.Errorf("probe %s measures nothing; give it Gravity, Temperature or Pressure", p.Name)
	}
	return p.Radio.check(p.Name)
}

// sensor is a Probe at work.
type sensor struct {
	Probe
	gravity, temperature, pressure *sense
	steps                          []floatStep
	stuckTill, silentTill          time.Duration
	measured                       bool // at least once
	due                            time.Duration
	rng                            *rand.Rand
	radio                          *transmitter
}

// floatStep is an error of a float that relaxes from its start.
type floatStep struct {
	sg           float64
	start, relax time.Duration
}

func newSensor(p Probe, rng *rand.Rand) *sensor {
	s := &sensor{Probe: p, rng: child(rng), radio: newTransmitter(p.Radio, child(rng)), due: p.Phase}
	s.gravity = newSense(p.Gravity, p.Interval, s.rng)
	s.temperature = newSense(p.Temperature, p.Interval, s.rng)
	s.pressure = newSense(p.Pressure, p.Interval, s.rng)
	return s
}

// hop gives the float the step of a dry-hop.
func (s *sensor) hop(now time.Duration) {
	if s.gravity == nil || s.Float.HopStep == 0 {
		return
	}
	short, long := s.Float.HopRelaxShort, s.Float.HopRelaxLong
	if short == 0 {
		short = usualRelaxShort
	}
	if long == 0 {
		long = usualRelaxLong
	}
	size := s.Float.HopStep * s.rng.NormFloat64()
	s.step(size, short+time.Duration(s.rng.Float64()*float64(long-short)), now)
}

func (s *sensor) step(sg float64, relax, now time.Duration) {
	s.steps = append(s.steps, floatStep{sg, now, relax})
}

// stepped is the sum of the float's steps at a moment.
func (s *sensor) stepped(at time.Duration) float64 {
	sum := 0.0
	for _, f := range s.steps {
		if f.relax == 0 {
			sum += f.sg
			continue
		}
		sum += f.sg * math.Exp(-float64(at-f.start)/float64(f.relax))
	}
	return sum
}

// sample measures what is there at a moment. A stuck probe repeats itself.
func (s *sensor) sample(seen view, at time.Duration) {
	if at < s.stuckTill && s.measured {
		return
	}
	s.measured = true
	days := at.Hours() / 24
	if s.gravity != nil {
		bias := s.stepped(at) + s.Float.PerKelvin*(seen.celsius-s.Float.ReferenceC)
		s.gravity.read(gravityOf(seen.extract)+bias, days, s.rng)
	}
	if s.temperature != nil {
		s.temperature.read(seen.celsius, days, s.rng)
	}
	if s.pressure != nil {
		s.pressure.read(s.pressure.pressureOf(seen), days, s.rng)
	}
}

// pressureOf is what a gauge, or a barometer, has before it.
func (s Sense) pressureOf(seen view) float64 {
	switch {
	case s.Outside:
		return seen.atmosphere
	case s.SealedRef:
		return seen.absolute - beer.StandardAtmosphere
	}
	return seen.absolute - seen.atmosphere
}

// readings gives what the last sample measured, gravity first.
func (s *sensor) readings(tank string, own time.Time, into []detect.Reading) []detect.Reading {
	add := func(w *sense, q detect.Quantity) {
		if w != nil {
			into = append(into, detect.Reading{
				Tank: tank, Probe: s.Name, Quantity: q, Time: own, Value: w.last, Raw: w.last,
			})
		}
	}
	add(s.gravity, detect.Gravity)
	add(s.temperature, detect.Temperature)
	add(s.pressure, detect.Pressure)
	return into
}

// gravityOf is the SG of beer of some apparent extract. Below water and above the heaviest wort it stays at the limit.
func gravityOf(plato float64) float64 {
	sg, err := beer.SG(max(0, plato))
	if err != nil {
		return heaviest
	}
	return sg
}

// heaviest is the end of the range of beer.SG.
const heaviest = 1.110
