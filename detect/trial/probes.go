package trial

import (
	"time"

	"spile/detect/cellarsim"
)

// The names of the probes.
const (
	floatName = "float"
	wellName  = "well"
	gaugeName = "gauge"
	airName   = "air"
)

// drawProbes draws what the class measures. A tank with a gauge has a thermometer in a well, one with a float alone has
// it half the time.
func (s *scene) drawProbes() {
	if s.class.Gravity {
		s.tank.Probes = append(s.tank.Probes, s.drawFloat())
	}
	if s.class.Pressure || s.chance(0.5) {
		s.tank.Probes = append(s.tank.Probes, s.drawWell())
	}
	if s.class.Pressure {
		s.tank.Probes = append(s.tank.Probes, s.drawGauge())
	}
}

// How far a float's slow errors go, either way; they are drawn evenly.
const (
	mostDrift     = 0.0001 // SG a day
	mostPerKelvin = 0.0001 // SG/K
)

// drawFloat draws a swimming hydrometer. Its hop step is drawn with the hops.
func (s *scene) drawFloat() cellarsim.Probe {
	interval := hours(s.ratio(5, 60) / 60)
	return cellarsim.Probe{
		Name: floatName, Interval: interval, Phase: s.phase(interval), Clock: s.clock(),
		Gravity: &cellarsim.Sense{
			Noise: s.between(0.0002, 0.001), Wander: s.between(0.0001, 0.0003), WanderLag: s.hours(1, 6), Resolution: 0.0001,
			Offset: 0.002 * s.NormFloat64(), DriftPerDay: s.either(mostDrift), WildShare: s.between(0, 0.006), WildSize: s.between(0.005, 0.04),
		},
		Temperature: &cellarsim.Sense{Noise: s.between(0.02, 0.1), Resolution: 0.1, Offset: s.either(0.3)},
		Float:       cellarsim.Float{PerKelvin: s.either(mostPerKelvin), ReferenceC: 20},
		Radio:       s.drawRadio(),
	}
}

// drawWell draws a thermometer in a well. Its lag behind the beer is not the model's: see scene.wellLag.
func (s *scene) drawWell() cellarsim.Probe {
	interval := one(s.draw, time.Minute, 2*time.Minute, 5*time.Minute, 10*time.Minute, 15*time.Minute)
	s.wellLag = s.hours(0, 0.5)
	return cellarsim.Probe{
		Name: wellName, Interval: interval, Phase: s.phase(interval), Clock: s.clock(),
		Temperature: &cellarsim.Sense{Noise: s.between(0.02, 0.1), Resolution: 0.1, Offset: s.either(0.3), WildShare: s.between(0, 0.001), WildSize: 10},
		Radio:       wire(),
	}
}

// drawGauge draws a head pressure gauge: open to the air behind, so that it has the weather on it over a closed tank, or closed
// at the factory, so that it has it over an open one.
func (s *scene) drawGauge() cellarsim.Probe {
	interval := one(s.draw, 10*time.Second, 20*time.Second, 30*time.Second, time.Minute, time.Minute,
		2*time.Minute, 2*time.Minute, 5*time.Minute, 5*time.Minute, 10*time.Minute)
	return cellarsim.Probe{
		Name: gaugeName, Interval: interval, Phase: s.phase(interval), Clock: s.clock(),
		Pressure: &cellarsim.Sense{
			Noise: s.between(0.05, 0.3), Resolution: 0.1, Offset: 0.5 * s.NormFloat64(), DriftPerDay: s.either(0.05),
			WildShare: s.between(0, 0.0005), WildSize: 40, SealedRef: s.chance(0.5),
		},
		Radio: wire(),
	}
}

// barometer draws one of the site, as it comes on a small board: its offset is of no account, its rounding is.
func (d draw) barometer() cellarsim.Probe {
	p := cellarsim.Barometer(airName)
	p.Interval = one(d, time.Minute, 5*time.Minute, 10*time.Minute, 30*time.Minute, time.Hour)
	p.Phase, p.Clock = d.phase(p.Interval), d.clock()
	p.Pressure.Noise, p.Pressure.Offset = d.between(0.002, 0.05), d.NormFloat64()
	p.Pressure.Resolution = one(d, 0.01, 0.1)
	return p
}

// drawRadio draws the way of a float's messages through steel and beer.
func (s *scene) drawRadio() cellarsim.Radio {
	return cellarsim.Radio{
		Delay: 300 * time.Millisecond, Jitter: 5 * time.Second,
		LossShare: s.between(0, 0.03), RepeatShare: s.between(0, 0.02), LateShare: s.between(0, 0.02), LateBy: 20 * time.Minute,
		GapsPerDay: s.between(0, 0.3), GapLength: s.hours(0.5, 3), Buffered: s.chance(0.5),
	}
}

// wire is the way of a wired probe's messages.
func wire() cellarsim.Radio {
	return cellarsim.Radio{Delay: 100 * time.Millisecond, Jitter: 300 * time.Millisecond, RepeatShare: 0.001}
}

func (d draw) phase(interval time.Duration) time.Duration {
	return time.Duration(d.Int64N(int64(interval))).Truncate(time.Millisecond)
}

// clock is how far a probe's own clock is off.
func (d draw) clock() time.Duration {
	return time.Duration(d.either(60) * float64(time.Second)).Truncate(time.Millisecond)
}

// probe gives a probe of the scene to be changed by its story, nil where there is none.
func (s *scene) probe(name string) *cellarsim.Probe {
	for i := range s.tank.Probes {
		if s.tank.Probes[i].Name == name {
			return &s.tank.Probes[i]
		}
	}
	return nil
}
