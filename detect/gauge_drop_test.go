package detect

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A small leak over little head space: the gauge goes down by some kPa in a few hours, and then the beer gives off what is
// lost. What is gone of the tank's CO2 is next to nothing yet.
func TestASmallLeakIsSeenByItsDrop(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name   string
		kPa    func(hours float64) float64 // over 60, after two days of rest
		kelvin func(hours float64) float64
		want   string
	}{
		{"a leak", func(h float64) float64 { return 5*math.Expm1(-h/3) - 0.04*h }, nil, "+"},
		{"weather that comes over a day", func(h float64) float64 { return -2.5 * (1 - math.Cos(math.Pi*min(h, 30)/30)) / 2 }, nil, ""},
		{"beer that cools by two kelvin", func(h float64) float64 { return 6 * math.Expm1(-h/6) }, func(h float64) float64 { return 2 * math.Expm1(-h/6) }, ""},
		{"a rise", func(h float64) float64 { return -4 * math.Expm1(-h/3) }, nil, ""},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			b, from := restedTank{rests: 48 * time.Hour, every: 2 * time.Minute, noise: 0.1, seed: 1, kPa: test.kPa, kelvin: test.kelvin}.play(t)
			require.Equal(t, test.want, b.of(Leak))
			if test.want != "" {
				assert.Less(t, b.last(Leak).Time.Sub(from), 12*time.Hour)
				assert.Contains(t, b.last(Leak).Summary, "losing head pressure: down ")
				assert.Less(t, b.tank.state.Balances["head-3"].lost(), leakEnough, "the balance alone would wait longer")
			}
		})
	}
}

// Over a small head space, beer that is quick gives off at once what a leak takes: the gauge goes down slowly, from hour to
// hour alike. All of that counts, with weather on the gauge or without.
func TestASlowLeakIsSeenForAllThatItTakes(t *testing.T) {
	t.Parallel()
	const perHour = 0.4
	for name, walk := range map[string]float64{"no weather": 0, "weather": 0.2} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rng, weather := rand.New(rand.NewPCG(3, 9)), 0.0
			course := func(h float64) float64 {
				weather += walk * math.Sqrt(2.0/60) * rng.NormFloat64()
				return weather - perHour*h
			}
			b, from := restedTank{rests: 60 * time.Hour, every: 2 * time.Minute, noise: 0.1, seed: 1, kPa: course}.play(t)
			assert.InEpsilon(t, perHour*b.now.Sub(from).Hours(), b.tank.state.Gauges["head-3"].Drop.KPa, 0.15)
			require.Equal(t, "+", b.of(Leak))
			assert.Less(t, b.last(Leak).Time.Sub(from), 13*time.Hour)
			assert.Less(t, b.tank.state.Balances["head-3"].lost(), leakEnough, "the balance alone would wait longer")
		})
	}
}

// What holds gas for no leak must hold it for none between a restart and the gauge's next half hour, too.
func TestGasThatGoesBackIsNoLeakAfterARestart(t *testing.T) {
	t.Parallel()
	b, _ := restedTank{rests: 48 * time.Hour, every: 2 * time.Minute, noise: 0.1, seed: 1, restarts: true, kPa: func(h float64) float64 {
		return min(12*h, 7*math.Exp(-(h-0.6)/1.2))
	}}.play(t)
	assert.Empty(t, b.of(Leak))
}

// Gas that somebody puts on and does not log goes into the beer within hours, whether it came little by little or between two
// words of a gauge that seldom speaks. A leak takes what stood there before that, too.
func TestGasThatGoesBackIsNoLeak(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		every time.Duration
		putOn func(hours float64) float64
	}{
		{2 * time.Minute, func(h float64) float64 { return min(12*h, 7*math.Exp(-(h-0.6)/1.2)) }}, // 0.4 kPa from one to the next
		{time.Hour, func(h float64) float64 { return 10 * math.Exp(-(h-1)/2.5) }},
	} {
		gone, _ := restedTank{rests: 48 * time.Hour, every: tt.every, noise: 0.1, seed: 1, kPa: tt.putOn}.play(t)
		assert.Empty(t, gone.of(Leak), tt.every)
		leaks, from := restedTank{rests: 48 * time.Hour, every: tt.every, noise: 0.1, seed: 1, kPa: func(h float64) float64 {
			return tt.putOn(h) + 6*math.Expm1(-h/3) - 0.1*h
		}}.play(t)
		require.Equal(t, "+", leaks.of(Leak), tt.every)
		assert.Less(t, leaks.last(Leak).Time.Sub(from), 12*time.Hour, tt.every)
	}
}

// What warmth lifts is no gas that was put on, so that its drop may be a leak.
func TestWhatWarmthLiftsIsNoGas(t *testing.T) {
	for celsius, gas := range map[float64]bool{14.4: true, 15.4: false} {
		c := newGauge()
		c.Points = []headPoint{
			{At: gaugeBegins, KPa: 160, Celsius: 14.4, N: 1},
			{At: gaugeBegins.Add(time.Hour), KPa: 165, Celsius: celsius, N: 1},
		}
		c.Drop = headDrop{KPa: 5, At: gaugeBegins.Add(time.Hour)}
		assert.Equal(t, gas, c.givesBack(testShare), celsius)
	}
}

// Two samples within hours, that nobody logged, are two steps, and no slow fall. A leak goes on, beside samples, too.
func TestTwoSamplesAreNoLeak(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		every     time.Duration
		losesEach int
		perHour   float64 // kPa, by a leak beside them
		want      string
	}{{7 * time.Minute, 0, 0, ""}, {10 * time.Minute, 7, 0, ""}, {7 * time.Minute, 0, 1.2, "+"}} {
		b, _ := restedTank{rests: 48 * time.Hour, every: tt.every, losesEach: tt.losesEach, noise: 0.06, seed: 1, kPa: func(h float64) float64 {
			kPa := -tt.perHour * h
			for _, at := range []float64{1, 2.5} {
				if since := h - at; since > 0 {
					kPa -= min(12*since, 2.5) - 0.3*min(since, 2) // the beer gives a little back
				}
			}
			return kPa
		}}.play(t)
		assert.Equal(t, tt.want, b.of(Leak), "%+v", tt)
	}
}
