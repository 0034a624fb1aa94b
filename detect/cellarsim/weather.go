package cellarsim

import (
	"math"
	"math/rand/v2"
	"time"

	"spile/detect/beer"
)

// Weather is the air outside: its pressure wanders about a mean as an Ornstein-Uhlenbeck process, and fronts pass over
// it. The zero value is still air at the standard atmosphere.
type Weather struct {
	MeanKPa float64       // absolute; 0: the standard atmosphere
	Sigma   float64       // kPa, standard deviation of the wander; 0.5 to 1.5 is usual for a temperate place (common practice)
	Lag     time.Duration // how long the weather remembers; 0: 36 h (common practice)
	Fronts  []Front       // in any order; those that overlap add up
}

// weatherGrid is how often the barometer is drawn anew; between two draws it moves in a straight line.
const weatherGrid = 10 * time.Minute

// usualWeatherLag stands where a Weather gives no Lag.
const usualWeatherLag = 36 * time.Hour

// barometer walks through one realisation of a Weather, forward only.
type barometer struct {
	mean, before, after float64
	keep, kick          float64 // of the exact discretisation: next = keep x now + kick x normal
	until               time.Duration
	fronts              []Front
	rng                 *rand.Rand
}

func newBarometer(w Weather, rng *rand.Rand) *barometer {
	if w.MeanKPa == 0 {
		w.MeanKPa = beer.StandardAtmosphere
	}
	if w.Lag == 0 {
		w.Lag = usualWeatherLag
	}
	b := &barometer{mean: w.MeanKPa, fronts: w.Fronts, rng: rng}
	b.keep, b.kick = autoregression(w.Sigma, weatherGrid, w.Lag)
	b.after = w.Sigma * rng.NormFloat64()
	b.draw()
	return b
}

// draw moves on by one step of the grid.
func (b *barometer) draw() {
	b.before = b.after
	b.after = b.keep*b.before + b.kick*b.rng.NormFloat64()
	b.until += weatherGrid
}

// at returns the pressure of the air, kPa absolute. Times never go back.
func (b *barometer) at(t time.Duration) float64 {
	for t > b.until {
		b.draw()
	}
	share := 1 - float64(b.until-t)/float64(weatherGrid)
	now := b.mean + b.before + share*(b.after-b.before)
	for _, f := range b.fronts {
		now += f.at(t)
	}
	return now
}

// autoregression gives the two factors of a first-order process of standard deviation sigma and correlation time lag,
// sampled each interval.
func autoregression(sigma float64, interval, lag time.Duration) (keep, kick float64) {
	if sigma == 0 || lag <= 0 {
		return 0, sigma
	}
	keep = math.Exp(-float64(interval) / float64(lag))
	return keep, sigma * math.Sqrt(1-keep*keep)
}

// child gives a stream of randomness of its own to a part of the cellar.
func child(rng *rand.Rand) *rand.Rand {
	return rand.New(rand.NewPCG(rng.Uint64(), rng.Uint64()))
}
