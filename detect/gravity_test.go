package detect

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// swimmer draws what a float shows hour by hour, by the definition of its noise.
type swimmer struct {
	rng     *rand.Rand
	white   float64 // degP, of an hour's mean
	lasting float64 // degP, over lastingHours
	wanders float64
}

func newSwimmer(seed uint64, white, lasting float64) *swimmer {
	s := &swimmer{rng: rand.New(rand.NewPCG(seed, 7)), white: white, lasting: lasting}
	s.wanders = lasting * s.rng.NormFloat64()
	return s
}

func (s *swimmer) noise() float64 {
	keep := math.Exp(-1 / lastingHours)
	s.wanders = keep*s.wanders + math.Sqrt(1-keep*keep)*s.lasting*s.rng.NormFloat64()
	return s.wanders + s.white*s.rng.NormFloat64()
}

// after is a time so many hours after a float began to be heard.
func after(hours int) time.Time { return gaugeBegins.Add(time.Duration(hours) * time.Hour) }

// swims lets a float show a curve of extract for some hours, from an hour on.
func (s *swimmer) swims(f *float, from, to int, plato func(hour int) float64, each func(hour int)) {
	for hour := from; hour < to; hour++ {
		if f.addPoint(point{At: after(hour), Plato: plato(hour) + s.noise(), Celsius: 14.4, N: 1}, 0) {
			f.judge()
		}
		if each != nil {
			each(hour)
		}
	}
}

// How well a null explains a curve, and how well a null and a creep do, are densities of a Gaussian: those of the noise's
// covariance and the terms' own, written out by hand, the rate of the creep summed over its half-normal prior. The
// published form is that of Bishop, "Pattern Recognition and Machine Learning" (Springer 2006), equation 3.86.
func TestAScoreIsARatioOfDensities(t *testing.T) {
	t.Parallel()
	const hours = 30
	s := newSwimmer(4, 0.1, 0.05)
	f := &float{White: 0.1, Noise: 0.05, Hopped: after(6)}
	for hour := range hours {
		f.Points = append(f.Points, point{At: after(hour), Plato: 3 + s.noise(), Celsius: 14 + math.Sin(float64(hour)), N: 1})
	}
	t.Run("a float alone", func(t *testing.T) { densities(t, f, f.bends()) })
	t.Run("with gravities by hand", func(t *testing.T) {
		densities(t, f, f.bends(handGravity{At: after(2), Plato: 2.7}, handGravity{At: after(19), Plato: 2.9}, handGravity{At: after(34), Plato: 2.6}))
	})
}

// densities holds what a curve says of a float, and of creep from its hour 12, against the densities themselves.
func densities(t *testing.T, f *float, c *curve) {
	t.Helper()
	require.Len(t, c.nulls, 4*(1+2), "four tails, alone and with a second step at 6 h and at 18 h")
	proofs := c.proofs(1)
	const onsetAt = 12
	course := usualCourse()
	ways := c.ways([]onset{{point: onsetAt}}, 1, course)
	require.Len(t, ways, len(c.nulls))
	leached := 3 // the place of its column
	if len(c.hands) > 0 {
		leached++
	}

	rows := len(c.hour)
	noise := make([][]float64, rows)
	for i := range noise {
		noise[i] = make([]float64, rows)
		if i >= c.swims {
			noise[i][i] = handNoise * handNoise
			continue
		}
		for j := range c.swims {
			noise[i][j] = f.Noise * f.Noise * math.Exp(-math.Abs(float64(i-j))/lastingHours)
		}
		noise[i][i] += f.white(1)
	}
	scales := 0.0
	for _, g := range c.gain {
		scales += math.Log(g.scale)
	}
	for k, n := range c.nulls {
		cov := make([][]float64, rows)
		for i := range cov {
			cov[i] = make([]float64, rows)
			for j := range cov {
				cov[i][j] = noise[i][j]
				for m, term := range n.terms {
					cov[i][j] += n.priors[m] * n.priors[m] * plain(f, c, term, i) * plain(f, c, term, j)
				}
			}
		}
		density := func(rate float64) float64 {
			values := make([]float64, rows)
			for i := range values {
				plato := f.Points[min(i, c.swims-1)].Plato
				if i >= c.swims {
					plato = c.hands[i-c.swims].Plato
				}
				values[i] = plato - f.Points[0].Plato - leachUsual*plain(f, c, leached, i) + rate*course.gone(c.hour[i]-onsetAt)
			}
			return logDensity(cov, values)
		}
		without := density(0)
		assert.InDelta(t, without, proofs[k]-n.weight+scales-float64(rows)*math.Log(2*math.Pi)/2, 1e-6, "null %d", k)
		with, step := 0.0, floatRate/200
		for rate := step / 2; rate < 8*floatRate; rate += step {
			prior := 2 / (floatRate * math.Sqrt(2*math.Pi)) * math.Exp(-rate*rate/(2*floatRate*floatRate))
			with += step * prior * math.Exp(density(rate)-without)
		}
		assert.InDelta(t, math.Log(onsetStep*with), ways[k].proof-proofs[k], 1e-4, "creep on null %d", k)
	}
}

// plain is a column of a curve of 30 h with hops at 6 h, before it is whitened, in the order in which they are added.
func plain(f *float, c *curve, term, i int) float64 {
	names := []string{"offset", "drift", "temperature", "leach", "second", "third", "7", "12", "19", "32"}
	if len(c.hands) > 0 {
		names = slices.Insert(names, 3, "by hand")
	}
	byHand, since := i >= c.swims, c.hour[i]-(6-middle)
	switch name := names[term]; name {
	case "by hand":
		if byHand {
			return 1
		}
		return 0
	case "leach":
		return -math.Expm1(-max(since, 0) / leachHours)
	case "offset", "drift", "temperature":
		if byHand {
			return 0
		}
		return map[string]float64{"offset": 1, "drift": c.hour[i], "temperature": f.Points[i].Celsius - f.Points[0].Celsius}[name]
	default:
		tail := secondTail
		switch name {
		case "second":
			since -= 6
		case "third":
			since -= 18
		default:
			tail, _ = strconv.ParseFloat(name, 64)
		}
		if byHand || since < 0 {
			return 0
		}
		return math.Exp(-since / tail)
	}
}

// logDensity is that of a Gaussian of mean zero, by elimination.
func logDensity(cov [][]float64, values []float64) float64 {
	n := len(values)
	out := -float64(n) * math.Log(2*math.Pi) / 2
	rows := make([][]float64, n)
	for i := range rows {
		rows[i] = append(append([]float64{}, cov[i]...), values[i])
	}
	for i := range rows {
		pivot := rows[i][i]
		out -= (math.Log(pivot) + rows[i][n]*rows[i][n]/pivot) / 2
		for j := i + 1; j < n; j++ {
			by := rows[j][i] / pivot
			for k := i; k <= n; k++ {
				rows[j][k] -= by * rows[i][k]
			}
		}
	}
	return out
}

// The quantiles of a rate that is not below zero are those of the normal distribution where zero is far, and of the
// half-normal where it is the likeliest: 0.6745 and 2.2414 standard deviations are the 50 % and the 97.5 % of it, as are
// the 75 % and the 98.75 % of the normal (any table of the normal distribution).
func TestQuantilesOfARate(t *testing.T) {
	t.Parallel()
	far := []truncated{{share: 1, mean: 0.02, spread: 0.002, pace: 24}}
	assert.InDelta(t, 24*(0.02-1.96*0.002), quantile(far, 0.025), 1e-3)
	assert.InDelta(t, 24*0.02, quantile(far, 0.5), 1e-3)
	half := []truncated{{share: 1, mean: 0, spread: 0.01, pace: 24}}
	assert.InDelta(t, 0.24*0.6745, quantile(half, 0.5), 1e-3)
	assert.InDelta(t, 0.24*2.2414, quantile(half, 0.975), 2e-3)
	assert.InDelta(t, 0.01*math.Sqrt(2/math.Pi), half[0].middle(), 1e-9)
	both := []truncated{{share: 0.5, mean: 0.02, spread: 1e-4, pace: 24}, {share: 0.5, mean: 0.04, spread: 1e-4, pace: 24}}
	assert.InDelta(t, 24*0.02, quantile(both, 0.25), 2e-3)
	assert.InDelta(t, 24*0.04, quantile(both, 0.75), 2e-3)
}

func TestTheLogarithmOfTheNormal(t *testing.T) {
	t.Parallel()
	assert.InDelta(t, math.Log(0.5), logNormal(0), 1e-12)
	assert.InDelta(t, math.Log(0.975), logNormal(1.959964), 1e-7)
	assert.InEpsilon(t, logNormal(-8+1e-9), logNormal(-8-1e-9), 1e-3, "both branches meet")
	assert.False(t, math.IsInf(logNormal(-60), 0))
}

func TestAFloatLearnsWhatNoiseItHas(t *testing.T) {
	t.Parallel()
	for _, test := range []struct{ white, lasting, least, most float64 }{
		{0.05, 0.10, 0.070, 0.140},
		{0.03, 0.015, 0.005, 0.035},
	} {
		f := &float{White: whiteGuess, Noise: noiseGuess}
		newSwimmer(11, test.white, test.lasting).swims(f, 0, 250, func(int) float64 { return 2.9 }, nil)
		assert.Greater(t, f.Noise, test.least)
		assert.Less(t, f.Noise, test.most)
		assert.InDelta(t, test.white, f.White, 0.035)
	}
}

// How much of its noise runs on a float shows in many days. What falls as far as a swing would, were there more of it than was
// learned, is less sure to be creep; what falls on is.
func TestAFloatsScoreHoldsAnyNoise(t *testing.T) {
	t.Parallel()
	fallen := func(upTo float64) (known, held float64) {
		f, s := &float{White: whiteGuess, Noise: noiseGuess}, newSwimmer(2, 0.08, 0.05)
		s.swims(f, 0, 90, func(hour int) float64 { return 3 - min(upTo, 0.03*max(0, float64(hour-48))) }, nil)
		held = f.Score
		f.look()
		return f.Score, held
	}
	known, held := fallen(0.35)
	assert.Greater(t, known, 12.6)
	assert.Less(t, held, 12.0)
	_, held = fallen(2)
	assert.Greater(t, held, 12.0)
}

// Where a float stood before the hops tells where it will stand after them: creep is seen sooner.
func TestWhatStoodBeforeTheHopsHelpsAfterThem(t *testing.T) {
	t.Parallel()
	const hopped, onset, end = 40, 70, 260
	plato := func(hour int) float64 {
		out := 2.9 - 0.007*usualCourse().gone(float64(hour-onset))
		if hour >= hopped {
			out += 0.7 * math.Exp(-float64(hour-hopped)/28)
		}
		return out
	}
	seen := func(seed uint64, from int) int {
		tank := NewTank("FV1", Settings{})
		tank.Log(Event{Tank: "FV1", Name: "crash", Time: after(-1), Arrived: after(-1), Amounts: map[string]float64{"setpoint": 14.4}})
		f, s, at := &float{White: whiteGuess, Noise: noiseGuess}, newSwimmer(seed, 0.06, 0.05), end
		tank.state.Floats["float"] = f
		s.swims(f, from, hopped, plato, nil)
		tank.Log(Event{Tank: "FV1", Name: "dry-hop", Time: after(hopped), Arrived: after(hopped)})
		s.swims(f, hopped, end, plato, func(hour int) {
			if f.Score >= tank.scoreNeeded() && hour < at {
				at = hour
			}
		})
		return at
	}
	with, without := 0, 0
	for seed := range uint64(6) {
		knew, knewNothing := seen(seed, 0), seen(seed, hopped)
		assert.Greater(t, knew, onset, "not before there is anything to see")
		with, without = with+knew, without+knewNothing
	}
	assert.Less(t, with, without-6*6, "six hours sooner in the mean, and more")
}

// Spile may come when the hops are in: what a float settles by as it is first heard is no fall, even when the window has
// long passed its first hours; creep that comes on top is.
func TestAFloatThatSettlesAsItIsFirstHeardShowsNoFall(t *testing.T) {
	t.Parallel()
	settling := func(hour int) float64 { return 2.9 + 0.55*math.Exp(-float64(hour)/27) }
	for seed := range uint64(6) {
		f, most := &float{White: whiteGuess, Noise: noiseGuess, Began: after(0)}, 0.0
		newSwimmer(seed, 0.06, 0.05).swims(f, 0, floatWindow+40, settling, func(int) { most = max(most, f.Score) })
		assert.Less(t, most, idleScore+2)
		f = &float{White: whiteGuess, Noise: noiseGuess, Began: after(0)}
		newSwimmer(seed, 0.06, 0.05).swims(f, 0, 130, func(hour int) float64 {
			return settling(hour) - 0.012*usualCourse().gone(float64(hour-40))
		}, nil)
		assert.Greater(t, f.Score, 13.0)
		assert.WithinDuration(t, after(40), f.Fall.Onset, 14*time.Hour)
	}
}

// A float that sticks says the same for hours, at whatever its noise was just then: that is one reading, and no fall.
func TestAFloatThatSticksShowsNoFall(t *testing.T) {
	t.Parallel()
	f, s := &float{White: whiteGuess, Noise: noiseGuess}, newSwimmer(6, 0.05, 0.02)
	for hour := range 150 {
		p, within := point{At: after(hour), Plato: 2.9 + s.noise(), Celsius: 14.4, N: 12}, 0.17
		if hour >= 120 {
			p.Plato, within = 2.9-0.4, 0
		}
		if f.addPoint(p, within) {
			f.judge()
		}
	}
	assert.Less(t, f.Score, idleScore)
	assert.Len(t, f.Points, 120)
	assert.InDelta(t, 0.17, f.White, 0.03, "nor does it learn that it has no noise")
}

// A float of 0.001 SG that speaks once an hour strays by more than others ever do: that is its noise, and nothing wild.
func TestANoisyFloatIsHeardInFull(t *testing.T) {
	t.Parallel()
	f := &float{White: whiteGuess, Noise: noiseGuess}
	newSwimmer(9, 0.26, 0.05).swims(f, 0, 200, func(int) float64 { return 2.9 }, nil)
	assert.Greater(t, len(f.Points), 190)
	assert.InDelta(t, 0.26, f.White, 0.06)
	assert.Less(t, f.Noise, 0.1)
}

// Yeast hardly wakes in cold beer, and cooling moves a float by itself: what fell in the cold must be shown better.
func TestAFloatInColdBeerMustShowMore(t *testing.T) {
	for name, tt := range map[string]struct {
		before, since float64 // degC, before the fall and since
		known         bool
		more          float64 // nats over what is always needed
		want          bool
	}{
		"beer as it is dry-hopped":            {14.4, 14.4, true, 1, true},
		"cooled far":                          {14.4, 2, true, 5, false},
		"cooled far, and beyond doubt":        {14.4, 2, true, 9, true},
		"a little cold":                       {14.4, 7, true, 2, true},
		"warming, after it was cold":          {2, 14.4, true, 1, true},
		"of which the temperature is unknown": {0, 0, false, 1, true},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			b.crash(14.4)
			f := &float{White: whiteGuess, Noise: noiseGuess, Warmth: tt.known, Score: b.tank.scoreNeeded() + tt.more}
			for i := range 24 {
				p := point{At: b.now.Add(time.Duration(i) * time.Hour), Plato: 3 - 0.03*float64(i), Celsius: tt.since, N: 4}
				if i < 12 {
					p.Celsius = tt.before
				}
				f.Points = append(f.Points, p)
			}
			f.Fall = gravityFall{Onset: f.Points[12].At, Depth: 0.3, Now: Interval{Value: 0.7, Low: 0.5, High: 1}}
			b.tank.state.Floats["hyd-3"] = f
			found := b.tank.judgeFloats(Reading{Probe: "hyd-3", Quantity: Gravity, Time: b.now, Arrived: b.now.Add(24 * time.Hour)})
			assert.Equal(t, tt.want, len(found) == 1 && found[0].Alarm == Refermentation, "score %.1f, %.1f more asked", f.Score, f.asleep())
		})
	}
}

func TestAWildTemperatureLetsNoYeastSleep(t *testing.T) {
	f := &float{Warmth: true, Fall: gravityFall{Onset: after(0)}}
	for hour := range 12 {
		f.Points = append(f.Points, point{At: after(hour), Celsius: 14.4})
	}
	f.Points[7].Celsius = -127 // a sensor that is not there
	assert.Zero(t, f.asleep())
}
