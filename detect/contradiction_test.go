package detect

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A gauge that shows no creep speaks against a float that does, but not once it is gone.
func TestAGaugeThatIsGoneContradictsNoFloat(t *testing.T) {
	t.Parallel()
	for how, contradicts := range map[string]bool{"heard on": true, "silent": false, "out": false} {
		b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
		b.crash(14)
		b.log("seal", nil, nil)
		b.both(14, 80, 10*time.Minute, 24*time.Hour)
		if how == "out" {
			b.log("probe", nil, map[string]string{"id": "head-3", "state": "out"})
		}
		noise, from := rand.New(rand.NewPCG(7, 7)), b.now
		for b.now.Before(from.Add(4 * 24 * time.Hour)) {
			fell := max(0, b.now.Sub(from).Hours()/24-2) * 0.0009
			b.read("hyd-3", Gravity, roundTo(1.0118-fell+0.0004*noise.NormFloat64(), 0.0001))
			b.read("well-3", Temperature, 14)
			if how == "heard on" {
				b.read("head-3", Pressure, 80)
			}
			b.pass(10 * time.Minute)
		}
		f := b.tank.state.Floats["hyd-3"]
		require.Greater(t, f.Fall.Depth, doubtedFall, how)
		assert.Equal(t, contradicts, b.tank.contradicts(f), how)
	}
}

// floatUnderGauge is a closed tank whose gauge stood for a day, and what lets a float fall from its third day on while the
// gauge stands at some pressure.
func floatUnderGauge(t *testing.T) (b *bench, falls func(length time.Duration, kPa float64)) {
	b = newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.crash(14)
	b.log("seal", nil, nil)
	b.both(14, 80, 10*time.Minute, 24*time.Hour)
	return b, func(length time.Duration, kPa float64) {
		for start := b.now; b.now.Before(start.Add(length)); b.pass(10 * time.Minute) {
			b.read("hyd-3", Gravity, 1.0118-0.0007*max(0, b.now.Sub(began).Hours()/24-3))
			b.read("well-3", Temperature, 14)
			b.read("head-3", Pressure, kPa)
		}
	}
}

// What a gauge saw of a fall is not forgotten because somebody touches the gas, until more of it came unseen.
func TestAGaugeWhoseGasWasTouchedContradictsStill(t *testing.T) {
	t.Parallel()
	b, falls := floatUnderGauge(t)
	falls(4*24*time.Hour, 80)
	f := b.tank.state.Floats["hyd-3"]
	require.Greater(t, f.Fall.Depth, fallLeast)
	require.True(t, b.tank.contradicts(f))
	b.log("gas", map[string]float64{"hold": 90}, nil)
	falls(time.Hour, 90)
	assert.True(t, b.tank.contradicts(f), "it saw the most of it")
	falls(4*24*time.Hour, 90)
	assert.False(t, b.tank.contradicts(f), "most of it came under a regulator, which feeds whatever is missing")
}

// Nor because its gas was touched twice: a stretch that began after the fall did, and saw the most of it, counts as it did
// while it went on.
func TestAGaugeWhoseGasWasTouchedTwiceContradictsStill(t *testing.T) {
	t.Parallel()
	b, falls := floatUnderGauge(t)
	falls(54*time.Hour, 80)
	b.log("gas", map[string]float64{"pressure": 85}, nil)
	falls(54*time.Hour, 85)
	f, touched := b.tank.state.Floats["hyd-3"], b.now
	require.Greater(t, f.Fall.Depth, fallLeast)
	require.True(t, b.tank.contradicts(f))
	b.log("gas", map[string]float64{"pressure": 90}, nil)
	falls(time.Hour, 90)
	require.True(t, f.Fall.Onset.Before(touched.Add(-54*time.Hour)))
	assert.True(t, b.tank.contradicts(f))
}

// Nor because samples were drawn, which let nothing go but themselves.
func TestAGaugeBesideWhichSamplesWereDrawnContradictsStill(t *testing.T) {
	t.Parallel()
	b, falls := floatUnderGauge(t)
	falls(24*time.Hour, 80)
	falls(54*time.Hour, 74.8)
	falls(30*time.Hour, 69.6)
	f, c := b.tank.state.Floats["hyd-3"], b.tank.state.Gauges["head-3"]
	require.Greater(t, f.Fall.Depth, fallLeast)
	require.Len(t, c.between(c.Since, b.now), 2, "the samples")
	require.Len(t, c.between(f.Fall.Onset, b.now), 1)
	assert.True(t, b.tank.contradicts(f))
}
