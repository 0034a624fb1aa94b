package detect

import (
	"math"
	"slices"
	"time"
)

// How creep is looked for on a float's curve (judgement).
const (
	floatRate  = 0.35 / 24      // degP/h: that of the rate's half-normal prior
	farFetched = 6.0            // nats: what explains the curve so much worse is left aside
	idleScore  = 6.0            // below which nothing is said of a fall, and ...
	idleFor    = 3 * floatWidth // ... a curve is looked at so often only: no creep is in such haste
	creepOdds  = 6.0            // nats against creep that begins within a given hour: one hopped beer in five, within 80 h
	surelyNone = 3.0            // nats by which a curve is better explained without the jump that was seen, for it to be forgotten
)

// judge weighs creep from every onset against none. The score is the logarithm
// of the sum, over the hours in which creep may have begun, of how much better
// the curve is explained with it, all that is not known integrated out: the
// statistic of Shiryaev and Roberts, which without creep comes to A after A
// hours in the mean (Pollak, "Average run lengths of an optimal method of
// detecting a change in distribution", Ann. Stat. 15 (1987) 749-779).
// Gravities by hand since its first point count with it.
func (f *float) judge(hands ...handGravity) {
	newest := f.Points[len(f.Points)-1].At
	if f.Score < idleScore && newest.Sub(f.Judged) < idleFor {
		return
	}
	f.Judged = newest
	switch c := f.look(hands...); {
	case c == nil:
	case f.Score < idleScore:
		f.learnNoise(c)
	default:
		f.Score = f.scoreOfAnyNoise(hands...)
	}
}

// look weighs a curve by the noise that its float is thought to have; nil if it is too short.
func (f *float) look(hands ...handGravity) *curve {
	f.Score, f.Fall = 0, gravityFall{}
	if len(f.Points) < floatLeast {
		return nil
	}
	c := f.bends(hands...)
	if f.noJump(c) {
		f.Stepped = time.Time{}
		c = f.bends(hands...)
	}
	if len(c.nulls) == 0 {
		return nil
	}
	onsets := f.onsets()
	variance := c.variance(nil)
	ways := f.weigh(c, onsets, variance)
	if f.Score < idleScore {
		return c
	}
	variance = c.variance(ways) // the creep has part in what no null explains
	f.weigh(c, onsets, variance)
	f.Fall = f.fallen(c, c.ways(onsets, variance, floatCourses()...))
	return c
}

// noiseFactors are how many times what runs on in a float's noise may be what it is thought to be.
func noiseFactors() [6]float64 { return [6]float64{1 / 2.25, 1 / 1.5, 1, 1.5, 2.25, 3.4} }

// scoreOfAnyNoise is the score where it is not known how much of the noise runs on: that is learned from a few days, in which
// it swung this way and that some dozens of times, and of a float that has more of it than was learned a swing looks like
// creep. It is summed over, as all else is that is not known.
func (f *float) scoreOfAnyNoise(hands ...handGravity) float64 {
	onsets := f.onsets()
	var with, without []float64
	for _, factor := range noiseFactors() {
		try := *f
		try.Noise, try.Score = factor*f.Noise, 0
		c := try.bends(hands...)
		none := try.explains(c)
		try.weigh(c, onsets, 1)
		with, without = append(with, none+try.Score), append(without, none)
	}
	return logSum(with) - logSum(without)
}

// noJump tells whether what looked like a jump is rather noise, now that there are hours after it: the curve is explained
// without it, with creep or without. A jump bends to explain nearly any fall, and would hide one for which none is needed.
func (f *float) noJump(c *curve) bool {
	if f.Stepped.IsZero() || f.Points[len(f.Points)-1].At.Before(f.Stepped.Add(stepQuiet)) {
		return false
	}
	var none, jumped []float64
	heard := func(proof float64, withJump bool) {
		if withJump {
			jumped = append(jumped, proof)
		} else {
			none = append(none, proof)
		}
	}
	variance := c.variance(nil)
	for i, proof := range c.proofs(variance) {
		heard(proof, c.nulls[i].jumped)
	}
	for _, w := range c.ways(f.onsets(), variance, usualCourse()) {
		heard(w.proof-creepOdds, w.jumped)
	}
	return len(none) > 0 && logSum(none) > logSum(jumped)+surelyNone
}

// weigh keeps the score, the noise's variance being so many times what it was thought to be.
func (f *float) weigh(c *curve, onsets []onset, variance float64) []way {
	none := logSum(c.proofs(variance))
	c.dropFarFetched()
	ways := c.ways(onsets, variance, usualCourse())
	if len(ways) > 0 {
		f.Score = logSum(proofs(ways)) - none
	}
	return ways
}

// variance is how many times the variance of the noise is what it was thought to be, by the null, or the way, that leaves
// least.
func (c *curve) variance(ways []way) float64 {
	least := math.Inf(1)
	for _, n := range c.nulls {
		least = min(least, n.left)
	}
	for _, w := range ways {
		least = min(least, w.left)
	}
	return surplus(least, float64(len(c.hour)-4))
}

// proofs weighs every null, the noise's variance being so many times what it was thought to be.
func (c *curve) proofs(variance float64) []float64 {
	out := make([]float64, len(c.nulls))
	for i := range c.nulls {
		c.nulls[i].prove(variance)
		out[i] = c.nulls[i].proof
	}
	return out
}

// dropFarFetched leaves aside nulls that explain the curve much worse than another.
func (c *curve) dropFarFetched() {
	best := math.Inf(-1)
	for i := range c.nulls {
		best = max(best, c.nulls[i].proof)
	}
	c.nulls = slices.DeleteFunc(c.nulls, func(n null) bool { return n.proof < best-farFetched })
}

// logSum is the logarithm of the sum of what these are the logarithms of; of none it is that of nothing.
func logSum(logs []float64) float64 {
	if len(logs) == 0 {
		return math.Inf(-1)
	}
	most, sum := slices.Max(logs), 0.0
	for _, l := range logs {
		sum += math.Exp(l - most)
	}
	return most + math.Log(sum)
}

// onset is a point from which creep is tried.
type onset struct {
	point  int
	weight float64 // logarithm of how likely creep is to begin then, beside other times
}

// onsets are those that are tried.
func (f *float) onsets() []onset {
	var out []onset
	for i := f.earliestOnset(); i < len(f.Points)-2; i += onsetStep {
		if f.unsettles(f.Points[i]) {
			continue
		}
		o := onset{point: i, weight: lessLikely}
		if f.Points[i].At.Sub(f.Hopped) < creepUsual {
			o.weight = 0
		}
		out = append(out, o)
	}
	return out
}

// way is one way in which creep may run, on top of a null.
type way struct {
	onset  int
	jumped bool // the null is one with a jump
	course floatCourse
	rate   float64 // degP/h once the ramp is over: the likeliest, below zero if extract seems to rise
	spread float64 // its standard deviation
	left   float64 // of the residual
	proof  float64 // logarithm of how well it explains the curve, its terms integrated out
}

// ways tries creep from every onset along some courses, on top of every null.
func (c *curve) ways(onsets []onset, variance float64, courses ...floatCourse) []way {
	out := make([]way, 0, len(onsets)*len(c.nulls)*len(courses))
	var fall falling
	for _, course := range courses {
		// of a half-normal rate, and of the hours that an onset stands for
		share := math.Log(onsetStep * 2 / (floatRate * float64(len(courses))))
		gone := byHours(course.gone)
		for _, o := range onsets {
			fall.along(c, o.point, gone)
			fall.self += variance / (floatRate * floatRate)
			for i := range c.nulls {
				n := &c.nulls[i]
				rate, weight, gain := n.extend(&fall)
				if weight <= 0 {
					continue
				}
				w := way{onset: o.point, jumped: n.jumped, course: course, rate: rate, spread: math.Sqrt(variance / weight), left: n.left - gain}
				w.proof = n.proof + o.weight + share + math.Log(w.spread) + gain/(2*variance) + logNormal(rate/w.spread)
				out = append(out, w)
			}
		}
	}
	return out
}

// logNormal is the logarithm of the normal distribution's share below z.
func logNormal(z float64) float64 {
	if z < -8 { // its asymptote, before the share itself vanishes
		return -z*z/2 - math.Log(-z*math.Sqrt(2*math.Pi))
	}
	return math.Log(math.Erfc(-z/math.Sqrt2) / 2)
}

// proofs are how well each of the ways explains the curve.
func proofs(ways []way) []float64 {
	out := make([]float64, len(ways))
	for i, w := range ways {
		out[i] = w.proof
	}
	return out
}

// learnNoise tries another noise than the one that a float is thought to have, a little more or less of what runs on or,
// where an hour holds too few readings to tell, of a reading's own, and keeps what explains the curve better, and still
// more or less of it while that does.
func (f *float) learnNoise(c *curve) {
	factor := 1 + noisePace
	if f.Tried%2 == 1 {
		factor = 1 / factor
	}
	lasting := f.Tried%4 < 2 || f.Points[len(f.Points)-1].N > fewReadings
	f.Tried++
	for best, better := f.explains(c), true; better; {
		try := *f
		if lasting {
			try.Noise *= factor
		} else {
			try.White *= factor
		}
		now := try.explains(try.bends(c.hands...))
		if better = now > best; better {
			f.Noise, f.White, best = try.Noise, try.White, now
		}
	}
}

// explains is the logarithm of how well a curve is explained without creep by the noise that the float is thought to
// have, and of how usual that is among floats (log-normal distributions).
func (f *float) explains(c *curve) float64 {
	out := logSum(c.proofs(1))
	for _, g := range c.gain {
		out += math.Log(g.scale)
	}
	lasting, white := math.Log(f.Noise/noiseGuess)/noiseSpread, math.Log(f.White/whiteGuess)/whiteSpread
	return out - (lasting*lasting+white*white)/2
}
