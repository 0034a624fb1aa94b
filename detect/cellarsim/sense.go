package cellarsim

import (
	"math"
	"math/rand/v2"
	"time"
)

// Sense is how a probe sees one quantity, in that quantity's inside unit: what is true, plus errors, rounded.
type Sense struct {
	Noise       float64       // standard deviation of the white noise of each reading
	Wander      float64       // standard deviation of noise that remembers: a first-order autoregression
	WanderLag   time.Duration // its correlation time
	Resolution  float64       // of what is sent; 0: unrounded
	Offset      float64       // constant error: a zero, a calibration
	DriftPerDay float64       // slow drift, per day
	WildShare   float64       // share of readings that are wild
	WildSize    float64       // how far a wild reading may lie off, either way
	SealedRef   bool          // a pressure gauge closed at the factory: it reads against the standard atmosphere, not the weather
	Outside     bool          // a barometer: it reads the air outside, absolute
}

// sense is a Sense at work.
type sense struct {
	Sense
	keep, kick float64 // of the wander
	wander     float64
	perUnit    float64 // 1/Resolution, whole where it can be, so that 0.1 rounds to the nearest double of 0.1
	last       float64 // as the probe would send it
}

func newSense(s *Sense, interval time.Duration, rng *rand.Rand) *sense {
	if s == nil {
		return nil
	}
	w := &sense{Sense: *s, wander: s.Wander * rng.NormFloat64()}
	w.keep, w.kick = autoregression(s.Wander, interval, s.WanderLag)
	if s.Resolution > 0 {
		w.perUnit = 1 / s.Resolution
		if whole := math.Round(w.perUnit); math.Abs(whole-w.perUnit) < 1e-9*whole {
			w.perUnit = whole
		}
	}
	return w
}

// read measures a true value at some days after the start; last holds what the probe makes of it.
func (w *sense) read(truth, days float64, rng *rand.Rand) {
	w.wander = w.keep*w.wander + w.kick*rng.NormFloat64()
	seen := truth + w.Offset + w.DriftPerDay*days + w.wander + w.Noise*rng.NormFloat64()
	if w.WildShare > 0 && rng.Float64() < w.WildShare {
		seen += w.WildSize * (2*rng.Float64() - 1)
	}
	if w.perUnit > 0 {
		seen = math.Round(seen*w.perUnit) / w.perUnit
	}
	w.last = seen
}
