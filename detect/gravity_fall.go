package detect

import (
	"math"
	"slices"
	"time"
)

// gravityFall is what a float's curve says of extract that falls, if creep is at work: every way in which it may run, each
// by its share. The intervals are 95 %.
type gravityFall struct {
	Onset     time.Time // in the middle of what is likely
	OnsetLow  time.Time
	OnsetHigh time.Time
	Depth     float64  // degP that have fermented since the onset; zero: nothing is said
	Now       Interval // degP/day at the newest point
}

// fastestFall is degP/day, up to which a rate is looked for: creep is slower (mostRate).
const fastestFall = 3.0

// fallen is what the ways together say, each by its share.
func (f *float) fallen(c *curve, ways []way) gravityFall {
	best := slices.Max(proofs(ways))
	ways = slices.DeleteFunc(ways, func(w way) bool { return w.proof < best-farFetched })
	all, newest := logSum(proofs(ways)), c.newest()
	rates := make([]truncated, 0, len(ways))
	onsets := make([]float64, len(c.hour)) // the share of each point
	var out gravityFall
	for _, w := range ways {
		share, hours := math.Exp(w.proof-all), newest-c.hour[w.onset]
		r := truncated{share: share, mean: w.rate, spread: w.spread, pace: 24 * w.course.pace(hours)}
		rates = append(rates, r)
		onsets[w.onset] += share
		out.Depth += share * r.middle() * w.course.gone(hours)
	}
	out.OnsetLow = f.Points[reached(onsets, 0.025)].At.Add(-onsetStep * floatWidth / 2)
	out.Onset = f.Points[reached(onsets, 0.5)].At
	out.OnsetHigh = f.Points[reached(onsets, 0.975)].At.Add(onsetStep * floatWidth / 2)
	out.Now = Interval{Value: quantile(rates, 0.5), Low: quantile(rates, 0.025), High: quantile(rates, 0.975)}
	return out
}

// reached is the first place up to which shares come to so much.
func reached(shares []float64, share float64) int {
	sum := 0.0
	for i, s := range shares {
		if sum += s; sum >= share {
			return i
		}
	}
	return len(shares) - 1
}

// truncated is a normal distribution of a rate that is not below zero, by the share that it has among others.
type truncated struct {
	share, mean, spread float64 // of the rate once the ramp is over, degP/h
	pace                float64 // of which so much is reached now, in a day
}

// below is the part of it below a rate now.
func (r truncated) below(now float64) float64 {
	z := r.mean / r.spread
	return 1 - math.Exp(logNormal(z-now/r.pace/r.spread)-logNormal(z))
}

// middle is its mean, degP/h once the ramp is over.
func (r truncated) middle() float64 {
	z := r.mean / r.spread
	return r.mean + r.spread*math.Exp(-z*z/2-logNormal(z))/math.Sqrt(2*math.Pi)
}

// quantile is the rate now, degP/day, below which such a share of the distributions lies.
func quantile(rates []truncated, share float64) float64 {
	low, high := 0.0, fastestFall
	for high-low > 1e-3*high {
		at, below := (low+high)/2, 0.0
		for _, r := range rates {
			below += r.share * r.below(at)
		}
		if below < share {
			low = at
		} else {
			high = at
		}
	}
	return (low + high) / 2
}

// recent is the fall of the newest hours in degP/h, positive downward, and its
// standard error, by least squares that heed how the noise runs on.
func (f *float) recent(span int) (slope, deviation float64, ok bool) {
	if len(f.Points) < span {
		return 0, 0, false
	}
	newest := float{Points: f.Points[len(f.Points)-span:], White: f.White, Noise: f.Noise}
	line := newFit([]float64{1e-9, 1e-9})
	var one, hours, target whiten
	for i, g := range newest.whitenings() {
		p, base := newest.Points[i], newest.Points[0]
		line.add(&[maxTerms]float64{one.next(g, 1), hours.next(g, p.At.Sub(base.At).Hours())}, target.next(g, p.Plato-base.Plato))
	}
	if !line.solve() {
		return 0, 0, false
	}
	variance := max(1, line.residual()/float64(span-2))
	return -line.beta[1], math.Sqrt(variance * line.inverse([maxTerms]float64{0, 1})[1]), true
}
