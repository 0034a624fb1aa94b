package trial

import (
	"math"
	"time"

	"spile/detect"
	"spile/detect/beer"
	"spile/detect/cellarsim"
)

// oracle is the best that gravity alone could do: a likelihood-ratio test that knows the noise and how it runs on, the
// offset, the steps of the hops, and the creep's size and shape; whether and when it begins is hidden. The float's slow
// drift and its temperature coefficient it must bear like anybody: it knows how such floats spread, not what this one
// does. It sees the float's readings and the beer's temperature, and nothing else.
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
	state hidden  // what the noise's filter makes of the creep's curve
	score float64 // log-likelihood ratio so far
}

const hoursPerYear = 24 * 365.25

// newOracle sets one up for so many false calls a tank-year.
func newOracle(n noise, c cellarsim.Creep, falseCalls float64) *oracle {
	return &oracle{noise: n, creep: c, threshold: hoursPerYear / falseCalls}
}

// take weighs one residual, degP over what the beer would show without creep at a temperature so many K over the
// first, and tells whether creep is to be called.
func (o *oracle) take(at time.Duration, kelvin, residual float64) bool {
	for len(o.onsets) == 0 || at-o.onsets[len(o.onsets)-1].at >= time.Hour {
		next := at
		if n := len(o.onsets); n > 0 {
			next = o.onsets[n-1].at + time.Hour
		}
		o.onsets = append(o.onsets, onset{at: next})
	}
	s := o.noise.step(at, kelvin, residual)
	sum := 0.0
	for i := range o.onsets {
		c := &o.onsets[i]
		c.state[wanders] *= s.keep
		if !s.seen {
			continue
		}
		expected := -eaten(o.creep, at-c.at) - s.sees.of(c.state)
		c.state.add(s.gain, expected)
		c.score += expected * (s.innovation - expected/2) / s.variance
		sum += math.Exp(min(c.score, 600))
	}
	return sum >= o.threshold
}

// noise is the exact filter of what a float shows over the truth: a first-order autoregression under white noise, a
// drift and a temperature coefficient (a Kalman filter of three states), at whatever times the readings come.
type noise struct {
	white       float64 // standard deviation of a reading's own noise, rounding included, degP
	wander      float64 // of what remembers
	lag         time.Duration
	drift       float64 // standard deviation among floats, degP/day
	coefficient float64 // the same, degP/K

	at    time.Duration
	begun bool
	state hidden
	spoil [states]hidden // the state's covariance
}

// hidden is what the filter follows.
type hidden [states]float64

// The places in it.
const (
	wanders = iota
	drifts  // degP/day
	warms   // degP/K
	states
)

// of is what a reading that sees so much of each state makes of them.
func (h hidden) of(x hidden) float64 {
	return h[wanders]*x[wanders] + h[drifts]*x[drifts] + h[warms]*x[warms]
}

func (h *hidden) add(gain hidden, by float64) {
	for i := range h {
		h[i] += gain[i] * by
	}
}

// step is what the filter makes of one reading.
type step struct {
	keep       float64 // the factor by which the wander decays until then
	sees       hidden  // how much of each state the reading holds
	gain       hidden
	innovation float64
	variance   float64 // of the innovation
	seen       bool    // false: wild, and passed over
}

// wildly is how many standard deviations off a reading is taken for wild: so far no noise goes.
const wildly = 7

// step moves the filter on to a residual.
func (n *noise) step(at time.Duration, kelvin, residual float64) step {
	s := step{keep: 1, sees: hidden{1, at.Hours() / 24, kelvin}}
	stationary := n.wander * n.wander
	if !n.begun {
		n.begun = true
		n.spoil = [states]hidden{wanders: {wanders: stationary}, drifts: {drifts: n.drift * n.drift}, warms: {warms: n.coefficient * n.coefficient}}
	} else {
		s.keep = math.Exp(-float64(at-n.at) / float64(n.lag))
		n.state[wanders] *= s.keep
		for i := range n.spoil {
			n.spoil[wanders][i] *= s.keep
			n.spoil[i][wanders] *= s.keep
		}
		n.spoil[wanders][wanders] += (1 - s.keep*s.keep) * stationary
	}
	n.at = at
	var with hidden // covariance of each state with the reading
	for i := range n.spoil {
		with[i] = n.spoil[i].of(s.sees)
	}
	s.variance = s.sees.of(with) + n.white*n.white
	s.innovation = residual - s.sees.of(n.state)
	if math.Abs(s.innovation) > wildly*math.Sqrt(s.variance) {
		return s
	}
	s.seen = true
	for i := range with {
		s.gain[i] = with[i] / s.variance
	}
	n.state.add(s.gain, s.innovation)
	for i := range n.spoil {
		n.spoil[i].add(with, -s.gain[i])
	}
	return s
}

// platoPerSG turns small differences of gravity into extract.
const platoPerSG = 1000 * beer.PlatoPerPoint

// noiseOf is the noise of the scene's float.
func (s *scene) noiseOf() noise {
	g := s.probe(floatName).Gravity
	rounding := g.Resolution / math.Sqrt(12)
	return noise{
		white: platoPerSG * math.Hypot(g.Noise, rounding), wander: platoPerSG * g.Wander, lag: g.WanderLag,
		drift: platoPerSG * mostDrift / math.Sqrt(3), coefficient: platoPerSG * mostPerKelvin / math.Sqrt(3),
	}
}

// consult lets the oracle look at the run's float. It gives when it would call.
func (r *run) consult() (time.Duration, bool) {
	o := newOracle(r.noiseOf(), r.creep, falseCallsPerYear)
	for _, reading := range r.float {
		at := reading.Time.Sub(begins()) - r.probe(floatName).Clock
		if o.take(at, r.truth.celsius[r.truth.minute(at)]-r.truth.celsius[0], r.residual(at, reading)) {
			return reading.Arrived.Sub(begins()), true
		}
	}
	return 0, false
}

// residual is a float's reading over what it would be without noise, drift and creep at the first temperature, degP.
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
	sg += p.Gravity.Offset + p.Float.PerKelvin*(r.truth.celsius[0]-p.Float.ReferenceC)
	for _, f := range r.steps {
		if at >= f.at {
			sg += f.sg * math.Exp(-float64(at-f.at)/float64(f.relax))
		}
	}
	return platoPerSG * (reading.Value - sg)
}
