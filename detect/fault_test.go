package detect

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// noisy reads a probe, its noise about a value that moves evenly, for a time.
func (b *bench) noisy(probe string, q Quantity, from, to, noise, digit float64, every, length time.Duration) {
	rng := rand.New(rand.NewPCG(5, uint64(b.now.Unix())))
	for start := b.now; b.now.Before(start.Add(length)); b.pass(every) {
		along := float64(b.now.Sub(start)) / float64(length)
		b.read(probe, q, roundTo(from+(to-from)*along+noise*rng.NormFloat64(), digit))
	}
}

// same reads a probe again and again while the beer's thermometer moves evenly.
func (b *bench) same(probe string, q Quantity, value, from, to float64, length time.Duration) {
	for start := b.now; b.now.Before(start.Add(length)); b.pass(10 * time.Minute) {
		along := float64(b.now.Sub(start)) / float64(length)
		b.read("well-3", Temperature, from+(to-from)*along)
		b.read(probe, q, value)
	}
}

func TestAFloatThatIsStuck(t *testing.T) {
	swims := func(b *bench) { b.noisy("hyd-1", Gravity, 1.012, 1.012, 0.0004, 0.0001, 10*time.Minute, 24*time.Hour) }
	tests := map[string]struct {
		play func(*bench)
		want string
	}{
		"while the beer cools":         {func(b *bench) { swims(b); b.same("hyd-1", Gravity, 1.0122, 14, 10, 12*time.Hour) }, "+"},
		"for a day":                    {func(b *bench) { swims(b); b.same("hyd-1", Gravity, 1.0122, 14, 14, 25*time.Hour) }, "+"},
		"for half a day in still beer": {func(b *bench) { swims(b); b.same("hyd-1", Gravity, 1.0122, 14, 14, 12*time.Hour) }, ""},
		"and loose again":              {func(b *bench) { swims(b); b.same("hyd-1", Gravity, 1.0122, 14, 10, 12*time.Hour); swims(b) }, "+-"},
		"it never showed noise":        {func(b *bench) { b.same("hyd-1", Gravity, 1.0122, 14, 4, 48*time.Hour) }, ""},
		"its digits are coarse": {func(b *bench) {
			b.noisy("hyd-1", Gravity, 1.0145, 1.0120, 0.0002, 0.001, 10*time.Minute, 24*time.Hour)
			b.same("hyd-1", Gravity, 1.012, 14, 4, 48*time.Hour)
		}, ""},
		"it lies in an empty tank": {func(b *bench) {
			swims(b)
			b.log("empty", nil, nil)
			b.same("hyd-1", Gravity, 1.0122, 14, 4, 48*time.Hour)
		}, ""},
		"it lies dry, or in caustic": {func(b *bench) { swims(b); b.same("hyd-1", Gravity, 0.9900, 14, 4, 48*time.Hour) }, ""},
		"and the tank is emptied": {func(b *bench) {
			swims(b)
			b.same("hyd-1", Gravity, 1.0122, 14, 10, 12*time.Hour)
			b.log("empty", nil, nil)
		}, "+-"},
		"and taken out": {func(b *bench) {
			swims(b)
			b.same("hyd-1", Gravity, 1.0122, 14, 10, 12*time.Hour)
			b.log("probe", nil, map[string]string{"id": "hyd-1", "state": "out"})
		}, "+-"},
		"another float sees gravity move": {func(b *bench) {
			rng := rand.New(rand.NewPCG(2, 2))
			for i := range 36 * 6 {
				fall := 0.0002 * float64(max(i-24*6, 0)) / 6
				b.read("hyd-2", Gravity, roundTo(1.014-fall+0.0004*rng.NormFloat64(), 0.0001))
				if i > 24*6 {
					b.read("hyd-1", Gravity, 1.0122)
				} else {
					b.read("hyd-1", Gravity, roundTo(1.012+0.0004*rng.NormFloat64(), 0.0001))
				}
				b.pass(10 * time.Minute)
			}
		}, "+"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			tt.play(b)
			assert.Equal(t, tt.want, b.of(ProbeFault))
		})
	}
}

// A float that lies still is no witness: what it said meanwhile is taken back, and it shows no beer to be finished.
func TestAStuckFloatIsNoWitness(t *testing.T) {
	b := newBench(t, Settings{})
	b.noisy("hyd-1", Gravity, 1.012, 1.012, 0.0004, 0.0001, 10*time.Minute, 20*time.Hour)
	b.same("hyd-1", Gravity, 1.0122, 14, 6, 60*time.Hour)
	require.Equal(t, "+", b.of(ProbeFault))
	f := b.last(ProbeFault)
	assert.Equal(t, "hyd-1", f.Probe)
	assert.Contains(t, f.Summary, "float hyd-1 is stuck")
	assert.Contains(t, f.Summary, "nothing else watches for yeast")
	assert.InDelta(t, 20, f.Onset.Sub(began).Hours(), 0.2)
	assert.True(t, b.tank.faulty("hyd-1"))
	points := b.tank.state.Floats["hyd-1"].Points
	assert.Less(t, points[len(points)-1].At.Sub(began), 20*time.Hour)
	assert.False(t, b.tank.state.Verdict.Stable)
}

func TestAGaugeThatIsBlocked(t *testing.T) {
	alive := func(b *bench) {
		b.read("well-3", Temperature, 14)
		b.noisy("head-3", Pressure, 80, 80, 0.2, 0.1, 5*time.Minute, 6*time.Hour)
	}
	tests := map[string]struct {
		play func(*bench)
		want string
	}{
		"while the beer cools": {func(b *bench) { alive(b); b.same("head-3", Pressure, 80, 14, 10, 12*time.Hour) }, "+"},
		"while it warms":       {func(b *bench) { alive(b); b.same("head-3", Pressure, 80, 14, 16, 12*time.Hour) }, "+"},
		"in still beer":        {func(b *bench) { alive(b); b.same("head-3", Pressure, 80, 14, 14.2, 48*time.Hour) }, ""},
		"for a few hours":      {func(b *bench) { alive(b); b.same("head-3", Pressure, 80, 14, 10, 5*time.Hour) }, ""},
		"it moves again":       {func(b *bench) { alive(b); b.same("head-3", Pressure, 80, 14, 10, 12*time.Hour); alive(b) }, "+-"},
		"under a spunding valve": {func(b *bench) {
			alive(b)
			b.log("vent", map[string]float64{"pressure": 80}, nil)
			b.same("head-3", Pressure, 80, 14, 16, 12*time.Hour)
		}, ""},
		"with CO2 left on": {func(b *bench) {
			alive(b)
			b.log("gas", map[string]float64{"hold": 80}, nil)
			b.same("head-3", Pressure, 80, 14, 2, 12*time.Hour)
		}, ""},
		"a valve that is logged at last": {func(b *bench) {
			alive(b)
			b.same("head-3", Pressure, 80, 14, 16, 12*time.Hour)
			b.log("vent", map[string]float64{"pressure": 80}, nil)
			b.same("head-3", Pressure, 80, 16, 16, time.Hour)
		}, "+-"},
		"an open tank":                     {func(b *bench) { b.log("vent", nil, nil); b.same("head-3", Pressure, 0, 14, 2, 12*time.Hour) }, ""},
		"coarse digits, and a little cold": {func(b *bench) { b.same("head-3", Pressure, 80, 14, 12, 24*time.Hour) }, ""},
		"coarse digits, and a cold crash":  {func(b *bench) { b.same("head-3", Pressure, 80, 14, 2, 24*time.Hour) }, "+"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			tt.play(b)
			assert.Equal(t, tt.want, b.of(ProbeFault))
		})
	}
}

func TestABlockedGaugeIsNeverSaidToBeFine(t *testing.T) {
	for to, holds := range map[float64]string{18: "a valve holding", 8: "CO2 left on"} {
		b := newBench(t, Settings{})
		b.read("well-3", Temperature, 14)
		b.noisy("head-3", Pressure, 80, 80, 0.2, 0.1, 5*time.Minute, 6*time.Hour)
		b.same("head-3", Pressure, 80, 14, to, 12*time.Hour)
		f := b.last(ProbeFault)
		assert.NotContains(t, f.Summary, "relief")
		assert.Contains(t, f.Summary, holds+", or the gauge is blocked or dead: it would show no over-pressure, read another at the tank")
		assert.Contains(t, f.Summary, "80.0 kPa to the last digit")
	}
}

func TestAGaugeAtTheReliefSettingMayBeHeldByTheValve(t *testing.T) {
	b := newBench(t, Settings{ReliefKPa: 82})
	b.read("well-3", Temperature, 14)
	b.noisy("head-3", Pressure, 79, 79, 0.2, 0.1, 5*time.Minute, 6*time.Hour)
	b.same("head-3", Pressure, 80, 14, 18, 12*time.Hour)
	assert.Contains(t, b.last(ProbeFault).Summary, "the relief valve, set at 82.0 kPa, passing gas, or the gauge is blocked or dead")
}

func TestAProbeThatIsWild(t *testing.T) {
	spikes := func(b *bench, every int, size float64) {
		for i := range 200 {
			value := 14.0
			if every > 0 && i%every == 0 {
				value += size
			}
			b.read("well-3", Temperature, value)
			b.pass(5 * time.Minute)
		}
	}
	tests := map[string]struct {
		play func(*bench)
		want string
	}{
		"one in four":             {func(b *bench) { spikes(b, 4, 5) }, "+"},
		"and mended":              {func(b *bench) { spikes(b, 4, 5); spikes(b, 0, 0) }, "+-"},
		"one in ten":              {func(b *bench) { spikes(b, 10, 5) }, ""},
		"within what beer may do": {func(b *bench) { spikes(b, 4, 0.9) }, ""},
		"a quick crash, heard hourly": {func(b *bench) {
			for c := 20.0; c > 2; c -= 2 {
				b.hold("well-3", Temperature, c, time.Hour, time.Hour)
			}
		}, ""},
		"gas on and off by hand": {func(b *bench) {
			for range 8 {
				b.hold("head-3", Pressure, 80, time.Minute, 3*time.Minute)
				b.hold("head-3", Pressure, 20, time.Minute, 3*time.Minute)
			}
		}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			tt.play(b)
			assert.Equal(t, tt.want, b.of(ProbeFault))
		})
	}
}

// A wild probe is doubted aloud, but its lone values are left out anyway: it stays a witness.
func TestAWildProbeStaysAWitness(t *testing.T) {
	b := newBench(t, Settings{})
	for i := range 100 {
		value := 1.012
		if i%4 == 0 {
			value = 1.03
		}
		b.read("hyd-1", Gravity, value)
		b.pass(10 * time.Minute)
	}
	require.Equal(t, "+", b.of(ProbeFault))
	assert.Contains(t, b.last(ProbeFault).Summary, "hyd-1 is wild")
	assert.False(t, b.tank.faulty("hyd-1"))
	assert.NotEmpty(t, b.tank.state.Floats["hyd-1"].Points)
}

// A relief valve that lifts and shuts makes a saw of the pressure, whose teeth stand alone; far below the relief it is the gauge.
func TestAReliefThatLiftsIsNoWildGauge(t *testing.T) {
	for _, test := range []struct {
		top  float64 // kPa, of the saw
		want string
	}{{150, ""}, {90, "+"}} {
		b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 160, ReliefKPa: 150})
		b.log("seal", nil, nil)
		b.crash(14.4)
		b.read("well-3", Temperature, 14.4)
		for i := range 100 {
			b.read("head-3", Pressure, test.top-30*float64(i%3)/2) // lifts at the top, shuts 20 % lower
			b.pass(5 * time.Minute)
		}
		assert.Equal(t, test.want, b.of(ProbeFault), "a saw up to %.0f kPa", test.top)
	}
}

func TestAThermometerThatSpeaksDegF(t *testing.T) {
	tests := map[string]struct {
		before, after float64
		want          string
	}{
		"of beer as cold as before": {14.4, 57.9, "+"},
		"caustic":                   {14.4, 80, ""},
		"still beer":                {14.4, 14.6, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			b.hold("well-3", Temperature, tt.before, 5*time.Minute, time.Hour)
			b.hold("well-3", Temperature, tt.after, 5*time.Minute, 12*time.Hour)
			require.Equal(t, tt.want, b.of(ProbeFault))
			if tt.want != "" {
				assert.Contains(t, b.last(ProbeFault).Summary, "does it speak degF? 57.9 degF would be 14.4 degC, as before")
				b.hold("well-3", Temperature, tt.before, 5*time.Minute, time.Hour)
				assert.Equal(t, "+-", b.of(ProbeFault))
			}
		})
	}
}

// The last reading before a caustic wash warms the tank says nothing of units, and hot water that cools passes every figure.
func TestWaterThatCoolsDoesNotSpeakDegF(t *testing.T) {
	b := newBench(t, Settings{})
	b.hold("well-3", Temperature, 14.4, 5*time.Minute, time.Hour)
	for c := 85.0; c > 40; c-- {
		b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
	}
	assert.Empty(t, b.of(ProbeFault))
}

// A snapshot in the middle of what a fault is told by holds all of it.
func TestDoubtsOutliveARestart(t *testing.T) {
	plays := map[string]func(b *bench, restart func()){
		"a stuck float": func(b *bench, restart func()) {
			b.noisy("hyd-1", Gravity, 1.012, 1.012, 0.0004, 0.0001, 10*time.Minute, 24*time.Hour)
			b.same("hyd-1", Gravity, 1.0122, 14, 12, 6*time.Hour)
			restart()
			b.same("hyd-1", Gravity, 1.0122, 12, 10, 6*time.Hour)
		},
		"a wild thermometer": func(b *bench, restart func()) {
			for i := range 60 {
				b.read("well-3", Temperature, 14+5*float64(i%2))
				b.pass(5 * time.Minute)
				if i == 8 {
					restart()
				}
			}
		},
		"beer that moved at the crash": func(b *bench, restart func()) {
			b.swim("hyd-1", 1.018, 0.0012, 48*time.Hour)
			b.crash(14.4)
			restart()
			b.swim("hyd-1", 1.0156, 0, 40*time.Hour)
		},
	}
	for name, play := range plays {
		t.Run(name, func(t *testing.T) {
			whole, stopped := newBench(t, Settings{}), newBench(t, Settings{})
			play(whole, func() {})
			play(stopped, func() {
				body, err := stopped.tank.MarshalJSON()
				require.NoError(t, err)
				stopped.tank = NewTank("FV3", Settings{})
				require.NoError(t, stopped.tank.UnmarshalJSON(body))
			})
			require.NotEmpty(t, whole.found)
			assert.Equal(t, whole.found, stopped.found)
		})
	}
}
