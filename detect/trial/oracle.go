package trial

import (
	"math"
	"time"

	"spile/detect"
	"spile/detect/beer"
	"spile/detect/cellarsim"
)

// oracle is the best that gravity alone could do: a likelihood-ratio test that knows the noise and how it runs on, the
// offset, the drift, the temperature coefficient, the steps of the hops, and the creep's size and shape; only whether
// and when it begins is hidden. It sees the float's readings and nothing else.
//
// Each hour is a candidate onset, and the sum of their likelihood ratios is the statistic of Shiryaev and Roberts. With
// no creep that sum less the number of candidates is a martingale, so that it comes to A after A hours in the mean, or a
// little more (Pollak, "Average run lengths of an optimal method of detecting a change in distribution", Annals of
// Statistics 15 (1987) 749-779, from memory): a threshold for so many false calls a tank-year needs no simulation.
type oracle struct {
	noise     noise
	creep     cellarsim.Creep
	threshold float64
	onsets    []onset
}

// onset is a candidate.
type onset struct {
	at    time.Duration
	state float64 // what the noise's filter makes of the creep's curve
	score float64 // log-likelihood ratio so far
}

const hoursPerYear = 24 * 365.25

// newOracle sets one up for so many false calls a tank-year.
func newOracle(n noise, c cellarsim.Creep, falseCalls float64) *oracle {
	return &oracle{noise: n, creep: c, threshold: hoursPerYear / falseCalls}
}

// take weighs one residual, degP over what the beer would show without creep, and tells whether creep is to be called.
func (o *oracle) take(at time.Duration, residual float64) bool {
	for len(o.onsets) == 0 || at-o.onsets[len(o.onsets)-1].at >= time.Hour {
		next := at
		if n := len(o.onsets); n > 0 {
			next = o.onsets[n-1].at + time.Hour
		}
		o.onsets = append(o.onsets, onset{at: next})
	}
	keep, gain, variance, seen := o.noise.step(at, residual)
	if !seen {
		for i := range o.onsets {
			o.onsets[i].state *= keep
		}
		return false
	}
	sum := 0.0
	for i := range o.onsets {
		c := &o.onsets[i]
		c.state *= keep
		expected := -eaten(o.creep, at-c.at) - c.state
		c.state += gain * expected
		c.score += expected * (o.noise.innovation - expected/2) / variance
		sum += math.Exp(min(c.score, 600))
	}
	return sum >= o.threshold
}

// noise is the exact filter of a float's noise: a first-order autoregression under white noise (a Kalman filter of one
// state), at whatever times the readings come.
type noise struct {
	white  float64 // standard deviation of a reading's own noise, rounding included, degP
	wander float64 // of what remembers
	lag    time.Duration

	at         time.Duration
	state      float64
	variance   float64
	begun      bool
	innovation float64
}

// wildly is how many standard deviations off a reading is taken for wild: so far no noise goes.
const wildly = 7

// step moves the filter on to a residual. It gives the factor by which a state decays until then, the gain, and the
// variance of the innovation; a wild residual is passed over.
func (n *noise) step(at time.Duration, residual float64) (keep, gain, variance float64, seen bool) {
	stationary := n.wander * n.wander
	if !n.begun {
		n.begun, n.variance = true, stationary
	} else {
		keep = math.Exp(-float64(at-n.at) / float64(n.lag))
		n.state *= keep
		n.variance = keep*keep*n.variance + (1-keep*keep)*stationary
	}
	n.at = at
	variance = n.variance + n.white*n.white
	n.innovation = residual - n.state
	if math.Abs(n.innovation) > wildly*math.Sqrt(variance) {
		return keep, 0, variance, false
	}
	gain = n.variance / variance
	n.state += gain * n.innovation
	n.variance *= 1 - gain
	return keep, gain, variance, true
}

// platoPerSG turns small differences of gravity into extract.
const platoPerSG = 1000 * beer.PlatoPerPoint

// noiseOf is the noise of the scene's float.
func (s *scene) noiseOf() noise {
	g := s.probe(floatName).Gravity
	rounding := g.Resolution / math.Sqrt(12)
	return noise{
		white: platoPerSG * math.Hypot(g.Noise, rounding), wander: platoPerSG * g.Wander, lag: g.WanderLag,
	}
}

// consult lets the oracle look at the run's float. It gives when it would call.
func (r *run) consult() (time.Duration, bool) {
	o := newOracle(r.noiseOf(), r.creep, falseCallsPerYear)
	for _, reading := range r.float {
		at := reading.Time.Sub(begins()) - r.probe(floatName).Clock
		if o.take(at, r.residual(at, reading)) {
			return reading.Arrived.Sub(begins()), true
		}
	}
	return 0, false
}

// residual is a float's reading over what it would be without noise and without creep, degP.
func (r *run) residual(at time.Duration, reading detect.Reading) float64 {
	p, i := r.probe(floatName), r.truth.minute(at)
	without := r.truth.extract[i] + eaten(r.creep, at-r.onset)
	if r.class.Quiet() {
		without = r.truth.extract[i]
	}
	sg, err := beer.SG(max(0, without))
	if err != nil {
		return 0
	}
	sg += p.Gravity.Offset + p.Gravity.DriftPerDay*at.Hours()/24
	sg += p.Float.PerKelvin * (r.truth.celsius[i] - p.Float.ReferenceC)
	for _, f := range r.steps {
		if at >= f.at {
			sg += f.sg * math.Exp(-float64(at-f.at)/float64(f.relax))
		}
	}
	return platoPerSG * (reading.Value - sg)
}
