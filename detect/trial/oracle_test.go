package trial

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect/beer"
	"spile/detect/cellarsim"
)

// simulated draws a float's noise by its definition, not by the oracle's filter.
type simulated struct {
	rng       *rand.Rand
	n         noise
	at        time.Duration
	wander    float64
	drift     float64 // degP/day
	perKelvin float64
	begun     bool
}

func (s *simulated) draw(step time.Duration) float64 {
	keep := math.Exp(-float64(step) / float64(s.n.lag))
	if !s.begun {
		s.begun, keep = true, 0
		s.drift, s.perKelvin = s.n.drift*s.rng.NormFloat64(), s.n.coefficient*s.rng.NormFloat64()
	} else {
		s.at += step
	}
	s.wander = keep*s.wander + math.Sqrt(1-keep*keep)*s.n.wander*s.rng.NormFloat64()
	return s.wander + s.drift*s.at.Hours()/24 + s.perKelvin*swing(s.at) + s.n.white*s.rng.NormFloat64()
}

// swing is the temperature over the first, K: a day and a night.
func swing(at time.Duration) float64 { return math.Sin(2 * math.Pi * at.Hours() / 24) }

// The filter's likelihood is the Gaussian's, written out for three readings at uneven times.
func TestNoiseIsTheGaussianLikelihood(t *testing.T) {
	t.Parallel()
	n := noise{white: 0.08, wander: 0.06, lag: 2 * time.Hour, drift: 0.5, coefficient: 0.03}
	times := [3]time.Duration{0, 40 * time.Minute, 150 * time.Minute}
	kelvin := [3]float64{0, 1.5, -0.5}
	values := [3]float64{0.05, -0.02, 0.11}
	var cov [3][3]float64
	for i := range 3 {
		for j := range 3 {
			cov[i][j] = n.wander*n.wander*math.Exp(-math.Abs(float64(times[i]-times[j]))/float64(n.lag)) +
				n.drift*n.drift*times[i].Hours()*times[j].Hours()/24/24 + n.coefficient*n.coefficient*kelvin[i]*kelvin[j]
		}
		cov[i][i] += n.white * n.white
	}
	want := -0.5 * (math.Log(determinant(cov)) + quadratic(cov, values))
	got := 0.0
	for i := range 3 {
		s := n.step(times[i], kelvin[i], values[i])
		require.True(t, s.seen)
		got -= 0.5 * (math.Log(s.variance) + s.innovation*s.innovation/s.variance)
	}
	assert.InDelta(t, want, got, 1e-12)
}

func determinant(m [3][3]float64) float64 {
	return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
}

// quadratic is y' M^-1 y by Cramer's rule.
func quadratic(m [3][3]float64, y [3]float64) float64 {
	sum := 0.0
	for j := range 3 {
		replaced := m
		for i := range 3 {
			replaced[i][j] = y[i]
		}
		sum += y[j] * determinant(replaced) / determinant(m)
	}
	return sum
}

// score runs the oracle over simulated noise under a creep of some size from an onset on, and gives when it calls.
func score(seed uint64, o *oracle, size float64, onset, end time.Duration) (time.Duration, bool) {
	const step = 15 * time.Minute
	s := simulated{rng: rand.New(rand.NewPCG(seed, 9)), n: o.noise}
	truth := o.creep
	truth.Plato = size
	for at := time.Duration(0); at < end; at += step {
		if o.take(at, swing(at), s.draw(step)-eaten(truth, at-onset)) {
			return at, true
		}
	}
	return end, false
}

func usual() (noise, cellarsim.Creep) {
	return noise{white: 0.15, wander: 0.05, lag: 3 * time.Hour, drift: 0.015, coefficient: 0.015},
		cellarsim.Creep{Plato: 0.8, Ramp: 16 * time.Hour, Decay: 60 * time.Hour}
}

// With no creep the mean time to a false call is the one asked for: never less, and not much more.
func TestOracleKeepsItsFalseCalls(t *testing.T) {
	t.Parallel()
	n, creep := usual()
	const asked = 240.0 // hours between false calls: often enough to be counted
	total := 0.0
	const runs = 400
	for i := range runs {
		at, called := score(uint64(i), newOracle(n, creep, hoursPerYear/asked), 0, 0, 4000*time.Hour)
		require.True(t, called, "run %d", i)
		total += at.Hours()
	}
	mean := total / runs
	// Its standard error is some 5 %.
	assert.Greater(t, mean, 0.85*asked)
	assert.Less(t, mean, 1.8*asked)
}

func TestOracleSeesCreep(t *testing.T) {
	t.Parallel()
	n, creep := usual()
	const onset = 40 * time.Hour
	mean := func(of noise, size float64) float64 {
		c := creep
		c.Plato = size
		total := 0.0
		for i := range 40 {
			at, called := score(uint64(i), newOracle(of, c, falseCallsPerYear), size, onset, 300*time.Hour)
			require.True(t, called)
			total += (at - onset).Hours()
		}
		return total / 40
	}
	large, small := mean(n, 1.5), mean(n, 0.5)
	assert.Greater(t, large, 0.0)
	assert.Less(t, large, small)
	n.white /= 3
	assert.Less(t, mean(n, 0.5), small, "a better float is sooner")
}

// A wild reading is no evidence, either way.
func TestOraclePassesOverWildReadings(t *testing.T) {
	t.Parallel()
	n, creep := usual()
	o := newOracle(n, creep, falseCallsPerYear)
	for i := range 200 {
		value := 0.0
		if i%10 == 9 {
			value = -5
		}
		require.False(t, o.take(time.Duration(i)*15*time.Minute, 0, value), "reading %d", i)
	}
}

// What is left of a float's curve when the oracle has taken away all it knows is what it must bear, and creep: with a
// float of no noise, drift and temperature coefficient, creep alone.
func TestResidualIsCreepAlone(t *testing.T) {
	t.Parallel()
	class, ok := find("creep-float")
	require.True(t, ok)
	for index := range 4 {
		s := newScene(3, class, index)
		g := s.probe(floatName).Gravity
		g.Noise, g.Wander, g.WildShare, g.Resolution, g.DriftPerDay = 0, 0, 0, 0, 0
		s.probe(floatName).Float.PerKelvin = 0
		r := s.newRun(UsualTelling())
		cellar, err := cellarsim.New(s.plan, s.Rand)
		require.NoError(t, err)
		require.NoError(t, cellar.Each(begins().Add(s.end), r.hear))
		require.NotEmpty(t, r.float)
		for _, reading := range r.float {
			at := reading.Time.Sub(begins()) - s.probe(floatName).Clock
			gone := eaten(s.creep, at-s.onset)
			// An SG is not quite linear in extract, and truth is known by the minute.
			require.InDelta(t, -gone, r.residual(at, reading), 0.005+0.02*gone, "run %d at %s", index, at)
		}
	}
}

// The closed form of creep is the model's.
func TestEatenIsTheModels(t *testing.T) {
	t.Parallel()
	tank := cellarsim.Unitank(tankName)
	tank.Open = true
	creep := cellarsim.Creep{Plato: 0.9, Ramp: 14 * time.Hour, Decay: 50 * time.Hour}
	const onset = 10 * time.Hour
	tank.Script = []cellarsim.Act{{At: onset, Do: creep}}
	perPlato := beer.CO2PerPlato(tank.OriginalPlato) * tank.BeerLiters
	plan := cellarsim.Plan{Start: begins(), Tanks: []cellarsim.Tank{tank}, Observe: func(now cellarsim.Truth) {
		want := eaten(creep, now.Time.Sub(begins())-onset)
		require.InDelta(t, want, now.MadeGrams/perPlato, 1e-9, "%s", now.Time)
		require.InDelta(t, want, tank.ExtractPlato-now.ExtractPlato, 1e-9, "%s", now.Time)
	}}
	cellar, err := cellarsim.New(plan, rand.New(rand.NewPCG(1, 2)))
	require.NoError(t, err)
	require.NoError(t, cellar.Each(begins().Add(200*time.Hour), func(cellarsim.Arrival) error { return nil }))
}
