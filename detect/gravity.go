package detect

import (
	"math"
	"time"

	"spile/detect/beer"
)

// float is the gravity witness: what one hydrometer swimming in the tank says.
//
// Its hourly means of apparent extract are fitted twice. The null hypothesis,
// "nothing ferments", holds an offset, a slow drift, an uncorrected temperature
// coefficient and, after hops went in, a step that relaxes over hours. The
// alternative adds extract that falls from an unknown moment, its rate ramping
// up as yeast gets going. Each nuisance is free within what such probes do, on
// both sides; noise may run on from hour to hour (first-order autoregression).
// The score is the generalised log-likelihood ratio of the two (Willsky and
// Jones, "A generalized likelihood ratio approach to the detection and
// estimation of jumps in linear systems", IEEE Trans. Autom. Control 21 (1976)
// 108-112), over a window of candidate onsets.
type float struct {
	Gate    gate
	Block   block
	Points  []point
	Warmth  bool      // a temperature is known
	Celsius float64   // the newest one
	White   float64   // degP, noise of one reading against the next, learned
	Noise   float64   // degP, noise that runs on from hour to hour, learned
	Hopped  time.Time // the dry-hop that began the curve; zero: none, or nobody knows
	Stepped time.Time // the newest jump that no yeast makes
	Score   float64   // of the newest fit, in nats
	Fall    fall      // the alternative's best answer
}

// point is one hour of a float.
type point struct {
	At      time.Time
	Plato   float64
	Celsius float64
	N       int
}

// fall is what a fit says of extract that falls.
type fall struct {
	Onset time.Time
	Rate  float64 // degP/h once the ramp is over
	Depth float64 // degP that have fermented since the onset
	Now   float64 // degP/h at the newest point
}

const (
	floatWidth   = time.Hour
	floatWindow  = 168            // hourly points kept
	floatLeast   = 10             // points before a fit means anything
	hopLeast     = 20             // the same, after hops went in
	hopQuiet     = 20 * time.Hour // after the hops, before creep is looked for
	stepQuiet    = 10 * time.Hour // the same after a jump: hops that nobody logged, a raft that sinks
	floatJump    = 0.35           // degP between hourly means that asks for a second one
	lowestInBeer = 0.992
	densestBeer  = 1.130
	wildGravity  = 0.004 // SG off its hour's median: a bubble, a radio error
	rampHours    = 16.0  // that yeast takes to get going again; creep was seen to ramp over 10 to 24 h (common practice)
	onsetStep    = 3     // hours between candidate onsets
	spentHours   = 50.0  // in which what is left to eat runs out
)

// What the null allows, as standard deviations beforehand (floating probes, common practice).
const (
	driftPrior       = 0.018 / 24 // degP/h
	coefficientPrior = 0.04       // degP/K
	hopStepPrior     = 0.6        // degP
	offsetPrior      = 10.0       // degP
	noiseFloor       = 0.010      // degP, what the resolution of 0.0001 SG leaves
	noiseGuess       = 0.050      // degP, noise that runs on
	whiteGuess       = 0.120      // degP, noise of one reading
	whiteMemory      = 24.0       // hours
	lastingPace      = 0.04       // an hour
	leastLasting     = 0.020      // degP
	mostLasting      = 0.150      // degP
	leastVariance    = 0.8        // of what was expected: no fit is trusted to be better
	stepLeast        = 0.12       // degP
	stepSigmas       = 4.0
	ratePrior        = 0.5 / 24 // degP/h: creep is slow
	noiseWeight      = 24.0     // points that the expected residual counts for beside the fit's own
)

// hopTails are the time constants tried for the settling of hops on a float, in hours.
func hopTails() [4]float64 { return [4]float64{7, 12, 19, 32} }

// restartFloats forgets the curve, not the probes' noise: hops or new beer went in.
func (t *Tank) restartFloats() {
	for _, f := range t.state.Floats {
		*f = float{White: f.White, Noise: f.Noise, Warmth: f.Warmth, Celsius: f.Celsius, Hopped: t.state.Book.Hopped}
	}
}

// takeGravity follows a float, hour by hour.
func (t *Tank) takeGravity(r Reading) []Finding {
	f := t.state.Floats[r.Probe]
	if f == nil {
		f = &float{Noise: noiseGuess, White: whiteGuess}
		t.state.Floats[r.Probe] = f
	}
	if r.Value < lowestInBeer || r.Value > densestBeer || t.faulty(r.Probe) {
		return nil
	}
	done, complete := f.Block.add(r.Time, floatWidth, r.Value, t.floatTemperature(r, f))
	if !complete || !f.addHour(done) {
		return nil
	}
	f.judge()
	return append(t.judgeFloats(r), t.stoodStill(r)...)
}

// floatTemperature is the float's own temperature, or else the beer's, or else
// the last one known: a temperature that is not known is taken not to change.
func (t *Tank) floatTemperature(r Reading, f *float) float64 {
	celsius, ok := t.beerTemperature(r.Time)
	if own, known := t.state.Probes[r.Probe].Celsius.asOf(r.Time, thermometerLost); known {
		celsius, ok = own, true
	}
	switch {
	case !ok:
		return f.Celsius
	case !f.Warmth: // the first one known stands for the hours before
		f.Warmth = true
		for i := range f.Points {
			f.Points[i].Celsius = celsius
		}
		for i := range f.Block.Temps {
			f.Block.Temps[i] = celsius
		}
	}
	f.Celsius = celsius
	return celsius
}

// addHour takes a finished hour and tells whether the curve has grown by a believed point.
func (f *float) addHour(done block) bool {
	sg, celsius, deviation, n := done.mean(wildGravity)
	p := point{At: done.Start, Plato: beer.ApparentPlato(sg), Celsius: celsius, N: n}
	if !f.Gate.pass(p.Plato, p.At, floatJump) {
		return false
	}
	f.learnWhite(p, deviation*beer.PlatoPerPoint*1000)
	if f.stepsAt(p) {
		f.Stepped = p.At
	}
	f.Points = append(f.Points, p)
	if len(f.Points) > floatWindow {
		f.Points = f.Points[len(f.Points)-floatWindow:]
	}
	return true
}

// learnWhite follows the noise of one reading against the next: from within the
// hour or, where an hour holds too few, from hour to hour.
func (f *float) learnWhite(p point, within float64) {
	if p.N <= 2 {
		if len(f.Points) == 0 {
			return
		}
		within = math.Abs(p.Plato-f.Points[len(f.Points)-1].Plato) * math.Sqrt(float64(p.N)/2)
		within = min(within, 3*f.White)
	}
	f.White = math.Sqrt(f.White*f.White + (within*within-f.White*f.White)/whiteMemory)
}

// stepsAt tells whether the curve jumps at a point faster than yeast can work:
// hops that nobody logged, a raft that sinks, something on the float.
func (f *float) stepsAt(p point) bool {
	if len(f.Points) < 3 {
		return false
	}
	level, variance := 0.0, f.white(p.N)+f.Noise*f.Noise
	for _, q := range f.Points[len(f.Points)-3:] {
		level += q.Plato / 3
		variance += f.white(q.N) / 9
	}
	return math.Abs(p.Plato-level) > max(stepLeast, stepSigmas*math.Sqrt(variance))
}

// judge fits both hypotheses to the curve and keeps the score.
func (f *float) judge() {
	f.Score, f.Fall = 0, fall{}
	if len(f.Points) < floatLeast || (!f.Hopped.IsZero() && len(f.Points) < hopLeast) {
		return
	}
	gains := f.whitenings()
	nullLeft, altLeft := math.Inf(1), math.Inf(1)
	courses := []func(float64) float64{fermented, spent}
	var best trial
	for _, tail := range hopTails() {
		c := f.curve(tail, gains)
		if !c.null.solve() {
			continue
		}
		left := c.null.residual()
		nullLeft, altLeft = min(nullLeft, left), min(altLeft, left)
		for onset := f.earliestOnset(); onset < len(f.Points)-2; onset += onsetStep {
			for _, course := range courses {
				if try := c.try(onset, course); try.rate > 0 && left-try.gain < altLeft {
					altLeft, best = left-try.gain, try
				}
			}
		}
		if f.Hopped.IsZero() && f.Stepped.IsZero() {
			break
		}
	}
	free := float64(len(f.Points) - 4)
	variance := max(leastVariance, (altLeft+noiseWeight)/(free+noiseWeight))
	if best.curve != nil {
		f.Score = (nullLeft - altLeft) / (2 * variance)
		f.Fall = best.fall(f.Points[best.onset].At)
	}
	f.learnLasting(altLeft / free)
}

// earliestOnset is the first point at which creep is looked for. Hops need the
// better part of a day before yeast has their sugar: it was seen from the
// second day on (Bruner, Marcus and Fox, Fermentation 7 (2021) 66). What a
// float shows before that is hops settling.
func (f *float) earliestOnset() int {
	quiet := later(f.Stepped.Add(stepQuiet), f.Hopped.Add(hopQuiet))
	for i, p := range f.Points {
		if !p.At.Before(quiet) {
			return i
		}
	}
	return len(f.Points)
}

// learnLasting follows the noise that runs on from hour to hour: it grows while
// the fit leaves more than it should, and comes down while it leaves less.
func (f *float) learnLasting(surplus float64) {
	step := 1 + lastingPace*(math.Sqrt(min(max(surplus, 0.3), 3))-1)
	f.Noise = min(max(f.Noise*step, leastLasting), mostLasting)
}
