package detect

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect/beer"
)

// reliefTank is a closed tank under a relief valve of 100 kPa that shuts again at a share of that: head and beer come to
// rest with a lag, and the valve takes its gas from the head.
type reliefTank struct {
	share, lag, shuts float64 // L per L of beer, h, share of the setting
	grams, head       float64 // g/L in the tank; kPa absolute
	lifts             int
	rng               *rand.Rand
}

func newReliefTank(share, lag, shuts, gauge float64, seed uint64) *reliefTank {
	k := &reliefTank{share: share, lag: lag, shuts: shuts, head: gauge + beer.StandardAtmosphere, rng: rand.New(rand.NewPCG(seed, 2))}
	k.grams = k.head * capacity(14.4, share)
	return k
}

// stands lets a bench hear the tank each five minutes, at a temperature and with CO2 made in g/L per hour, by the hour.
func (k *reliefTank) stands(b *bench, hours int, celsius, made func(hour float64) float64) {
	const step = 5 * time.Minute
	for at := time.Duration(0); at < time.Duration(hours)*time.Hour; at += step {
		warm := celsius(at.Hours())
		k.grams += made(at.Hours()) * step.Hours()
		k.head += (k.grams/capacity(warm, k.share) - k.head) * step.Hours() / k.lag
		if gauge := k.head - beer.StandardAtmosphere; gauge > 100 {
			fell := gauge - 100*k.shuts
			k.head -= fell
			k.grams -= fell * (capacity(warm, k.share) - capacity(warm, 0))
			k.lifts++
		}
		b.read("well-3", Temperature, warm+0.04*k.rng.NormFloat64())
		b.read("head-3", Pressure, k.head-beer.StandardAtmosphere+0.15*k.rng.NormFloat64())
		b.pass(step)
	}
}

func steady(value float64) func(float64) float64 { return func(float64) float64 { return value } }

// A creep under a relief that lifts each few hours is called, and not taken back while the valve lets go what is made.
func TestCreepIsCountedAcrossLifts(t *testing.T) {
	for _, volumes := range []Settings{{}, {BeerLiters: 1000, HeadspaceLiters: 80}} {
		volumes.Sealed, volumes.ReliefKPa = true, 100
		b := newBench(t, volumes)
		b.crash(14.4)
		k := newReliefTank(0.08, 3, 0.92, 98.5, 3)
		k.stands(b, 48, steady(14.4), steady(0))
		require.Zero(t, k.lifts)
		k.stands(b, 30, steady(14.4), func(hour float64) float64 { return 0.012 * min(hour/12, 1) })
		assert.Greater(t, k.lifts, 3)
		assert.Equal(t, "+", b.of(Refermentation), "thirty hours after its onset")
		assert.Regexp(t, `the relief lifted (once|\d+ times)`, fmt.Sprint(b.last(Refermentation).Evidence.Witnesses))
		k.stands(b, 30, steady(14.4), steady(0.012))
		k.stands(b, 24, steady(14.4), steady(0))
		assert.Equal(t, "+", b.of(Refermentation), "beer goes on to give off what was made")
		k.stands(b, 150, steady(14.4), steady(0))
		assert.Equal(t, "+-", b.of(Refermentation), "it has ended")
	}
}

// Gas that a regulator puts on lifts a valve as well, for as long as it is on: it holds no verdict up.
func TestGasPutOnHoldsNoVerdictUp(t *testing.T) {
	b := newBench(t, Settings{Sealed: true, ReliefKPa: 100})
	b.crash(14.4)
	k := newReliefTank(0.08, 3, 0.92, 98.5, 3)
	b.log("gas", map[string]float64{"hold": 101}, nil)
	k.stands(b, 48, steady(14.4), steady(0.012))
	b.tank.state.Verdict.Active = true // a float told it
	k.stands(b, 60, steady(14.4), steady(0.012))
	assert.Greater(t, k.lifts, 10)
	assert.False(t, b.tank.state.Verdict.Active)
}

// A sample of a litre and a half over 45 L of head space lets pressure fall by 4.5 kPa. One each morning blinds no gauge, and
// what beer gives back of it is no creep.
func TestASampleEachMorningBlindsNoGauge(t *testing.T) {
	for made, want := range map[float64]string{0: "", 0.03: "+"} { // g/L an hour, two days on
		b := newBench(t, Settings{Sealed: true, ReliefKPa: 200, BeerLiters: 750, HeadspaceLiters: 45})
		b.crash(14.4)
		k := newReliefTank(0.06, 3, 0.92, 40, 5)
		k.stands(b, 48, steady(14.4), steady(0))
		c := b.tank.state.Gauges["head-3"]
		since := c.Since
		for day := range 2 {
			k.head *= 45 / 46.5
			k.stands(b, 24, steady(14.4), func(hour float64) float64 { return made * (float64(24*day) + hour) / 48 })
		}
		assert.Equal(t, want, b.of(Refermentation), "%.2f g/L an hour", made)
		assert.Equal(t, since, c.Since, "the stretch goes on")
		assert.Len(t, c.Lifts, 2)
		assert.Zero(t, c.liftedSince(began), "and no valve lifted")
		assert.Empty(t, c.Days.Whole, "the days begin anew: what a sample takes is no slow leak")
	}
}

// What warmth or a thermostat lifts is no yeast's work, whatever the head space is and whoever told it.
func TestAReliefThatWarmthLiftsIsNoCreep(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		share := rapid.Float64Range(0.05, 0.25).Draw(rt, "head space")
		settings := Settings{Sealed: true, ReliefKPa: 100}
		if rapid.Bool().Draw(rt, "told") {
			settings.BeerLiters, settings.HeadspaceLiters = 1000, 1000*share
		}
		b := newBench(t, settings)
		b.crash(14.4)
		swing := rapid.Float64Range(0, 0.4).Draw(rt, "K up and down")
		warming := rapid.Float64Range(0, 0.2).Draw(rt, "K an hour")
		celsius := func(hour float64) float64 {
			cycle := hour/6 - float64(int(hour/6))
			return 14.4 + swing*(2*max(cycle, 1-cycle)-1.5) + warming*max(0, hour-40)
		}
		k := newReliefTank(share, rapid.Float64Range(0.5, 6).Draw(rt, "lag"), rapid.Float64Range(0.8, 0.95).Draw(rt, "shuts at"),
			rapid.Float64Range(92, 99).Draw(rt, "kPa"), rapid.Uint64().Draw(rt, "seed"))
		k.stands(b, 80, celsius, steady(0))
		assert.Empty(rt, b.of(Refermentation), "lifts: %d", k.lifts)
	})
}

// What is still missing of a lift in the mean of a half hour is the integral of its decay.
func TestALiftFadesAsBeerGivesItBack(t *testing.T) {
	c := newGauge()
	c.Lifts = []lift{{At: gaugeBegins.Add(10 * time.Minute), KPa: 8}}
	for _, minute := range []int{0, 29, 60, 89, 60 * 200} { // 60: the one reading of its half hour
		c.Points = append(c.Points, headPoint{At: gaugeBegins.Add(time.Duration(minute) * time.Minute)})
	}
	lags := relaxLags()
	left := c.fadingLifts(lags)
	for j, lag := range lags {
		mean := func(from, until float64) float64 { // minutes after the lift
			const steps = 10000
			sum := 0.0
			for i := range steps {
				sum += 8 * math.Exp(-(from+(until-from)*(float64(i)+0.5)/steps)/60/lag)
			}
			return sum / steps
		}
		assert.Zero(t, left[0][j], "before it")
		assert.InDelta(t, mean(0, 19), left[1][j], 1e-4)
		assert.InDelta(t, mean(50, 50), left[2][j], 1e-4)
		assert.InDelta(t, mean(50, 79), left[3][j], 1e-4)
		assert.Zero(t, left[4][j], "long over")
	}
	assert.Nil(t, newGauge().fadingLifts(lags))
}

// Only what falls from near the setting to where a valve shuts is the valve's.
func TestAFallIsTheValvesOrHands(t *testing.T) {
	band := NewTank("FV1", Settings{Sealed: true, ReliefKPa: 100}).reliefBand()
	for name, test := range map[string]struct {
		from, to float64 // kPa gauge
		band     reliefBand
		lifted   bool
	}{
		"a valve that lifts":       {101, 92, band, true},
		"one that shuts late":      {99, 78, band, true},
		"blown down":               {101, 40, band, false},
		"let off further down":     {70, 62, band, false},
		"gas put on":               {92, 100, band, false},
		"a tank without a setting": {101, 92, reliefBand{}, false},
	} {
		t.Run(name, func(t *testing.T) {
			c := newGauge()
			c.Since = gaugeBegins.Add(-2 * liftsSettled)
			c.Hands = c.Since
			for i, kPa := range []float64{test.from, test.from, test.to, test.to} {
				c.take(gaugeBegins.Add(time.Duration(i)*2*time.Minute), kPa+beer.StandardAtmosphere, 14.4, test.band)
			}
			assert.Equal(t, test.lifted, len(c.Lifts) == 1)
			assert.Equal(t, !test.lifted, c.Since.After(gaugeBegins), "hands begin a new stretch")
		})
	}
}

// Within a day of hands a lift begins a new stretch, for it is their gas; but it is no act of theirs, so that a valve that
// lifts each few hours is counted once the day is over. What a quick beer gives back in a jump is no gas put on.
func TestAValveIsNoHand(t *testing.T) {
	band := NewTank("FV1", Settings{Sealed: true, ReliefKPa: 100}).reliefBand()
	c := newGauge()
	hear := func(after time.Duration, gauge ...float64) {
		for i, kPa := range gauge {
			c.take(gaugeBegins.Add(after+time.Duration(i)*2*time.Minute), kPa+beer.StandardAtmosphere, 14.4, band)
		}
	}
	for after := time.Duration(0); after < 23*time.Hour; after += 2 * time.Hour {
		hear(after, 100.5, 101, 92, 92.2, 95, 95.2, 98, 98.2)
	}
	assert.Zero(t, c.liftedSince(gaugeBegins), "none is of the stretch")
	assert.True(t, c.Since.After(gaugeBegins.Add(22*time.Hour)))
	assert.Equal(t, gaugeBegins, c.Hands)
	began := c.Since
	hear(26*time.Hour, 100.5, 101, 92, 92.2, 100, 100.4)
	require.Equal(t, 1, c.liftedSince(began))
	assert.InDelta(t, 9, c.Lifts[len(c.Lifts)-1].KPa, 1e-9)
	assert.Equal(t, began, c.Since, "neither the fall nor what came back")
	hear(27*time.Hour, 100.4, 108, 108.2)
	assert.True(t, c.Since.After(began), "gas put on")
	assert.Empty(t, c.Lifts)
}

// Hands that are told late leave the lifts that came after them; those of the day after them are their gas, as if told at once.
func TestLiftsAfterALateLine(t *testing.T) {
	band := NewTank("FV1", Settings{Sealed: true, ReliefKPa: 100}).reliefBand()
	for name, test := range map[string]struct {
		acted time.Duration
		lifts int
		first time.Duration // point
	}{
		"a day and more before a lift": {10 * time.Hour, 1, 10*time.Hour + 45*time.Minute},
		"sooner before it":             {20 * time.Hour, 0, 40*time.Hour + 45*time.Minute},
		"after it":                     {41 * time.Hour, 0, 41*time.Hour + 45*time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			c := newGauge()
			for after := time.Duration(0); after < 44*time.Hour; after += 15 * time.Minute {
				kPa := 100.5
				if after > 40*time.Hour {
					kPa = 90
				}
				c.take(gaugeBegins.Add(after), kPa+beer.StandardAtmosphere, 14.4, band)
			}
			require.Len(t, c.Lifts, 1)
			c.act(gaugeBegins.Add(test.acted))
			assert.Len(t, c.Lifts, test.lifts)
			require.NotEmpty(t, c.Points)
			assert.Equal(t, gaugeBegins.Add(test.first), c.Points[0].At)
		})
	}
}

// A gauge that seldom speaks, under a valve that lifts each hour, has no half hour without a jump: nothing piles up.
func TestLiftsArePiledUpNowhere(t *testing.T) {
	band := NewTank("FV1", Settings{Sealed: true, ReliefKPa: 100}).reliefBand()
	c := newGauge()
	for i := range 10 * gaugeWindow * 4 {
		c.take(gaugeBegins.Add(time.Duration(i)*15*time.Minute), []float64{201.8, 201.8, 193, 193}[i%4], 14.4, band)
	}
	assert.Len(t, c.Lifts, gaugeWindow)
}

// What told is a witness, and is held against what was asked of it.
func TestAClimbThatAValveBoreOutIsShown(t *testing.T) {
	tank := NewTank("FV1", Settings{Sealed: true, ReliefKPa: 100, FalseCallsPerTankYear: 0.1})
	c := newGauge()
	c.Score, c.Rise = 4, fall{Onset: gaugeBegins, Rate: 2 * riseSlowest, Now: 2 * riseSlowest, Depth: 0.08}
	for i := range 40 {
		c.Points = append(c.Points, headPoint{At: gaugeBegins.Add(time.Duration(i+1) * gaugeWidth), KPa: 200, Celsius: 14.4})
	}
	for i := range 6 {
		c.Lifts = append(c.Lifts, lift{At: gaugeBegins.Add(time.Duration(i+6) * time.Hour), KPa: 9, Grams: 0.03})
	}
	c.Last = sample{At: c.Points[39].At}
	tank.state.Gauges["head"] = c
	require.GreaterOrEqual(t, c.Score, c.lessByValve(tank.scoreNeeded()+riseDoubt, tank.headspaceShare()))
	e := tank.evidence(estimate{})
	require.Len(t, e.Witnesses, 1)
	assert.Contains(t, e.Witnesses[0], "the relief lifted 6 times, evidence 4, 3 is enough")
	assert.NotNil(t, e.CO2GramsPerLiterDay)
}

// The more a valve has let go of since a climb began, the less the climb needs.
func TestAValveBearsAClimbOut(t *testing.T) {
	for _, test := range []struct {
		name  string
		lifts int     // of 0.03 g/L each
		warms float64 // K, before the first of them
		score float64
		agree bool
	}{
		{"a climb alone", 0, 0, 15, false},
		{"two lifts", 2, 0, 12, false},
		{"three, and a climb of some weight", 3, 0, 8.5, true},
		{"three, and little of a climb", 3, 0, 5, false},
		{"six, and little of a climb", 6, 0, 5, true},
		{"six, and hardly a climb", 6, 0, 2, false},
		{"six that warmth drove out", 6, 3, 12, false},
	} {
		t.Run(test.name, func(t *testing.T) {
			c := &gauge{Score: test.score, Rise: fall{Onset: gaugeBegins, Rate: 2 * riseSlowest}}
			for i := range 40 {
				at := gaugeBegins.Add(time.Duration(i+1) * gaugeWidth)
				c.Points = append(c.Points, headPoint{At: at, KPa: 200, Celsius: 14.4 + test.warms*min(float64(i)/10, 1)})
			}
			for i := range test.lifts {
				c.Lifts = append(c.Lifts, lift{At: gaugeBegins.Add(time.Duration(i+6) * time.Hour), KPa: 9, Grams: 0.03})
			}
			c.Last = sample{At: c.Points[len(c.Points)-1].At}
			assert.Equal(t, test.agree, c.Score >= c.lessByValve(16, testShare))
		})
	}
}
