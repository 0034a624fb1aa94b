package trial

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"time"
)

// draw is one run's randomness.
type draw struct{ *rand.Rand }

// newDraw seeds a run: by the trial's seed, its class and its index, and nothing else.
func newDraw(seed uint64, class string, index int) draw {
	h := fnv.New64a()
	_, _ = h.Write([]byte(class)) // a hash in memory takes everything
	return draw{rand.New(rand.NewPCG(seed, h.Sum64()+uint64(index)*0x9e3779b97f4a7c15))}
}

// between draws evenly.
func (d draw) between(low, high float64) float64 { return low + (high-low)*d.Float64() }

// ratio draws evenly in the logarithm: as often from 1 to 2 as from 10 to 20.
func (d draw) ratio(low, high float64) float64 {
	return low * math.Exp(d.Float64()*math.Log(high/low))
}

// either draws evenly from -most to most.
func (d draw) either(most float64) float64 { return d.between(-most, most) }

// chance is true in a share of draws.
func (d draw) chance(share float64) bool { return d.Float64() < share }

// hours draws a duration evenly.
func (d draw) hours(low, high float64) time.Duration { return hours(d.between(low, high)) }

// one picks one of several.
func one[T any](d draw, of ...T) T { return of[d.IntN(len(of))] }

// hours is a figure of hours as a duration, in whole minutes: acts fall on the model's steps.
func hours(h float64) time.Duration {
	return time.Duration(h * float64(time.Hour)).Truncate(time.Minute)
}
