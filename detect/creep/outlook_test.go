package creep

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func monday() time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) }

func after(hours float64) time.Time { return monday().Add(time.Duration(hours * float64(time.Hour))) }

// seen is what a good gauge would show of a creep by a number of hours after its onset.
func seen(plato float64, s shape, hours, sigma float64, rng *rand.Rand) Course {
	c := Course{Now: after(hours), OnsetLow: after(-8), OnsetHigh: after(6)}
	rate := plato * s.rate(c.Now)
	c.Rate = Interval{Value: rate, Low: 0.6 * rate, High: 1.6 * rate}
	for at := 2.0; at <= hours; at += 2 {
		c.Curve = append(c.Curve, Point{At: after(at), Gone: 3 + plato*s.gone(after(at)) + sigma*rng.NormFloat64(), Sigma: sigma})
	}
	return c
}

// A creep's own sums: what has gone and the rate belong together, and all of it goes in the end.
func TestShape(t *testing.T) {
	t.Parallel()
	s := shape{onset: monday(), ramp: 16, decay: 50}
	sum := 0.0
	for m := range 60 * 2000 {
		sum += s.rate(after((float64(m)+0.5)/60)) / 24 / 60
		if m == 60*10 || m == 60*40 {
			assert.InDelta(t, sum, s.gone(after(float64(m+1)/60)), 1e-6)
		}
	}
	assert.InDelta(t, 1, sum, 1e-6)
	assert.Zero(t, s.gone(after(-1)))
	assert.Zero(t, s.rate(after(-1)))
	still := s.stillAfter(after(30), 0.8)
	assert.InDelta(t, StillRate, 0.8*s.rate(after(30+still)), 1e-9)
	assert.Zero(t, s.stillAfter(after(30), 0.01), "so little never falls fast enough to be seen")
}

// The longer it is watched, the less is open: early on the bounds are wide and say so, in the end they hold little else
// than the truth.
func TestOutlookNarrows(t *testing.T) {
	t.Parallel()
	s := shape{onset: monday(), ramp: 14, decay: 45}
	early, ok := seen(0.8, s, 9, 0.02, rand.New(rand.NewPCG(1, 1))).Look()
	require.True(t, ok)
	late, ok := seen(0.8, s, 120, 0.02, rand.New(rand.NewPCG(1, 1))).Look()
	require.True(t, ok)
	assert.True(t, early.Short)
	assert.False(t, late.Short)
	assert.Less(t, late.All.High-late.All.Low, (early.All.High-early.All.Low)/3)
	assert.InDelta(t, 0.8, late.All.Value, 0.15)
	assert.Greater(t, early.Still.Value, late.Still.Value)
}

// Over creeps of every kind, watched for a while each, the bounds hold the truth about as often as they say.
func TestOutlookHoldsTheTruth(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(4, 2))
	const runs = 200
	all, left, still := 0, 0, 0
	within := func(i Interval, v float64) int {
		if i.Low-1e-9 <= v && v <= i.High+1e-9 {
			return 1
		}
		return 0
	}
	for range runs {
		s := shape{onset: monday(), ramp: 10 + 14*rng.Float64(), decay: 30 + 70*rng.Float64()}
		plato := 0.25 + 1.25*rng.Float64()
		c := seen(plato, s, 6+90*rng.Float64(), 0.03, rng)
		o, ok := c.Look()
		require.True(t, ok)
		all += within(o.All, plato)
		left += within(o.Left, plato*(1-s.gone(c.Now)))
		still += within(o.Still, s.stillAfter(c.Now, plato))
	}
	for what, n := range map[string]int{"all": all, "left": left, "still": still} {
		assert.GreaterOrEqual(t, n, runs*90/100, what)
	}
}

// What nothing is known of is not foretold.
// The rate comes off the same readings as the curve: a long curve that has flattened is not talked out of it.
func TestALongCurveSpeaksAlone(t *testing.T) {
	t.Parallel()
	s := shape{onset: monday(), ramp: 14, decay: 45}
	look := func(hours, share float64) Outlook {
		c := seen(0.8, s, hours, 0.02, rand.New(rand.NewPCG(1, 1)))
		c.Rate = Interval{share * c.Rate.Value, share * c.Rate.Low, share * c.Rate.High}
		o, ok := c.Look()
		require.True(t, ok)
		return o
	}
	assert.Equal(t, look(60, 1), look(60, 2), "a long curve")
	assert.Less(t, look(20, 1).Left.Value, look(20, 2).Left.Value, "a short one")
}

func TestNothingToGoBy(t *testing.T) {
	t.Parallel()
	good := seen(0.8, shape{onset: monday(), ramp: 14, decay: 45}, 20, 0.02, rand.New(rand.NewPCG(1, 1)))
	for name, spoil := range map[string]func(*Course){
		"no rate":             func(c *Course) { c.Rate = Interval{} },
		"a rate of one bound": func(c *Course) { c.Rate.Low = c.Rate.High },
		"an onset to come":    func(c *Course) { c.OnsetLow = c.Now },
	} {
		c := good
		spoil(&c)
		_, ok := c.Look()
		assert.False(t, ok, name)
	}
	good.Curve = nil
	o, ok := good.Look()
	require.True(t, ok, "a rate alone says something")
	assert.True(t, o.Short)
	assert.Less(t, o.Left.Low, o.Left.Value)
	assert.Greater(t, o.Left.High, o.Left.Value)
}

func BenchmarkLook(b *testing.B) {
	c := seen(0.8, shape{onset: monday(), ramp: 14, decay: 45}, 48, 0.02, rand.New(rand.NewPCG(1, 1)))
	for b.Loop() {
		_, _ = c.Look()
	}
}
