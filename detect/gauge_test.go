package detect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect/beer"
)

var gaugeBegins = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

const testShare = 0.1 // L of head space per L of beer

// plays lets a gauge hear a course of pressure, kPa absolute by hours, for some
// hours at an interval, at 14.4 degC, with a walk and noise of such sizes.
func plays(course func(hours float64) float64, length, every time.Duration, pace, noise float64, seed uint64) *gauge {
	rng := rand.New(rand.NewPCG(seed, 1))
	c, walk := newGauge(), 0.0
	for at := time.Duration(0); at < length; at += every {
		walk += pace * math.Sqrt(every.Hours()) * rng.NormFloat64()
		kPa := course(at.Hours()) + walk + noise*rng.NormFloat64()
		if c.take(gaugeBegins.Add(at), math.Round(kPa*10)/10, 14.4, reliefBand{}) {
			c.judge(testShare, capacity(14.4, testShare)/beer.CO2PerPlato(15), relaxLags())
		}
	}
	return c
}

// No sum of a few lags tells to a percent how gas comes to rest after the tank was blown down and closed. What it misses of the
// steep hours must not be taken for a make of CO2 once the gauge is known to be quiet; a climb later on counts whole.
func TestTheSteepHoursAfterAnActCountLess(t *testing.T) {
	scale := func(hours float64, off float64) float64 {
		at := gaugeBegins.Add(time.Duration(hours * float64(time.Hour)))
		c := newGauge()
		c.Since, c.White = gaugeBegins, 0.1
		c.Points = []headPoint{
			{At: at.Add(-gaugeWidth), KPa: 175 - off, N: 15}, {At: at, KPa: 175 - off, N: 15},
			{At: gaugeBegins.Add(30 * time.Hour), KPa: 175, N: 15},
		}
		return c.whitenings()[1].scale
	}
	assert.Less(t, scale(1, 60), 0.9*scale(1, 0), "just closed")
	assert.Less(t, scale(1, 60), scale(1, 20), "the further it has yet to go")
	assert.InDelta(t, scale(14, 0), scale(14, 60), 1e-9, "half a day later")
}

func TestAGaugeKnowsHandsFromNature(t *testing.T) {
	minutes := func(m int) time.Time { return gaugeBegins.Add(time.Duration(m) * time.Minute) }
	type heard struct {
		minute int
		kPa    float64
	}
	for _, test := range []struct {
		name  string
		heard []heard
		hands bool
	}{
		{"a still tank", []heard{{0, 180}, {2, 180.1}, {4, 179.9}}, false},
		{"gas put on", []heard{{0, 180}, {2, 195}, {4, 195.1}}, true},
		{"gas put on, ever more slowly", []heard{{0, 150}, {10, 168}, {20, 173}, {30, 174.5}}, true},
		{"the same, read each few minutes", []heard{{0, 119}, {3, 123}, {6, 163}, {9, 169}, {12, 171}, {15, 171.4}}, true},
		{"blown down", []heard{{0, 180}, {2, 130}, {4, 110}, {6, 109}}, true},
		{"gas put on that the beer takes up at once", []heard{{0, 123}, {10, 142}, {20, 131}, {30, 126.8}, {40, 126.7}, {50, 126.6}, {60, 126.6}}, true},
		{"a small sample", []heard{{0, 180}, {2, 177}, {4, 177.2}, {6, 177.2}}, false},
		{"a larger sample", []heard{{0, 180}, {2, 175}, {4, 175.1}, {6, 175.3}}, false},
		{"a small dump", []heard{{0, 180}, {2, 172}, {4, 172.1}, {6, 172.3}}, true},
		{"blown down between two readings", []heard{{0, 140}, {60, 101}, {120, 106}, {180, 111}}, true},
		{"a wild value, read once an hour", []heard{{0, 140}, {60, 101}, {120, 139}, {180, 140}}, false},
		{"a wild value upward in a creep, read once an hour", []heard{{0, 180}, {60, 192}, {120, 189}, {180, 193}}, false},
		{"opened, from a little pressure", []heard{{0, 106}, {2, 101.5}, {4, 101.4}, {6, 101.4}}, true},
		{"a wild value in a quick creep", []heard{{0, 180}, {30, 182}, {40, 190}, {50, 183.3}, {60, 184}}, false},
		{"a lone wild value", []heard{{0, 180}, {2, 184}, {4, 180.1}, {6, 180}}, false},
		{"wild both ways", []heard{{0, 180}, {2, 184}, {4, 176}, {6, 180}}, false},
		{"warming, read once an hour", []heard{{0, 180}, {60, 182}, {120, 184}}, false},
		{"the quickest creep, read once an hour", []heard{{0, 180}, {60, 188}, {120, 196}, {180, 204}, {240, 212}}, false},
	} {
		t.Run(test.name, func(t *testing.T) {
			c := newGauge()
			for _, h := range test.heard {
				c.take(minutes(h.minute), h.kPa, 14.4, reliefBand{closed: 103})
			}
			assert.Equal(t, test.hands, c.Since.After(gaugeBegins))
			last := test.heard[len(test.heard)-1]
			assert.InDelta(t, last.kPa, c.Last.Value, 1e-9, "the newest is believed in the end")
		})
	}
}

func TestAnOlderActLeavesTheStretchAsItIs(t *testing.T) {
	c := plays(func(float64) float64 { return 180 }, 6*time.Hour, 5*time.Minute, 0, 0, 1)
	points := len(c.Points)
	c.restart(gaugeBegins.Add(-time.Hour))
	assert.Len(t, c.Points, points)
	c.restart(gaugeBegins.Add(3 * time.Hour))
	require.NotEmpty(t, c.Points)
	assert.Less(t, len(c.Points), points)
	assert.GreaterOrEqual(t, c.Points[0].At.Sub(gaugeBegins), 3*time.Hour+gaugeSettles, "what hands may still have moved is left out")
}

// A tank that comes to rest after an opening, from wherever and at whatever lag, is no yeast's work.
func TestGasThatComesToRestIsNotCalled(t *testing.T) {
	needed := NewTank("FV1", Settings{}).scoreNeeded() + riseDoubt
	rapid.Check(t, func(t *rapid.T) {
		lag := rapid.Float64Range(0.1, 8).Draw(t, "lag")
		apart := rapid.Float64Range(-60, 60).Draw(t, "kPa")
		hours := rapid.IntRange(8, 60).Draw(t, "hours")
		seed := rapid.Uint64().Draw(t, "seed")
		c := plays(func(h float64) float64 { return 180 - apart*math.Exp(-h/lag) }, time.Duration(hours)*time.Hour, 5*time.Minute, 0.05, 0.05, seed)
		age := c.Points[len(c.Points)-1].At.Sub(c.Since)
		assert.Less(t, c.Score, needed+riseFresh*max(0, 1-age.Hours()/freshFor.Hours()))
	})
}

func TestCreepIsSeenThroughGasThatComesToRest(t *testing.T) {
	platoPerKPa := capacity(14.4, testShare) / beer.CO2PerPlato(15)
	const onset, rate = 40.0, 0.30 / 24 // h, degP/h
	course := func(h float64) float64 {
		return 180 - 30*math.Exp(-h/3) + rate*fermented(h-onset)/platoPerKPa
	}
	for seed := range uint64(10) {
		c := plays(course, 52*time.Hour, 2*time.Minute, 0.2, 0.15, seed)
		assert.Greater(t, c.Score, NewTank("FV1", Settings{}).scoreNeeded()+riseDoubt, "twelve hours after its onset")
		assert.InDelta(t, onset, c.Rise.Onset.Sub(gaugeBegins).Hours(), 8)
		assert.InEpsilon(t, rate*ramped(12), c.Rise.Now, 0.6)
		assert.InDelta(t, rate*fermented(12), c.Rise.Depth, 0.02)
	}
}

// What temperature does to a closed tank is what its physics says: at once by the
// gas law where nothing passes between beer and head, and at rest by Henry's law.
func TestAnswersAreThoseOfAClosedTank(t *testing.T) {
	cooled := func(hours int) *gauge {
		c := newGauge()
		for i := range 2 * hours {
			c.Points = append(c.Points, headPoint{At: gaugeBegins.Add(time.Duration(i) * 30 * time.Minute), KPa: 180 - float64(i), Celsius: max(4, 14-float64(i)), N: 1})
		}
		c.reckon(testShare)
		return c
	}
	c := cooled(48)
	atOnce := c.answers([warmths]float64{1e6})[0]
	assert.InDelta(t, 180*(4+zeroCelsius)/(14+zeroCelsius)-180, atOnce[len(atOnce)-1], 0.01, "gas alone")

	rested := c.answers([warmths]float64{0.1})[0]
	before := beer.ClosedTank{Celsius: 14, BeerLiters: 10, HeadspaceLiters: 1}
	after := beer.ClosedTank{Celsius: 4, BeerLiters: 10, HeadspaceLiters: 1}
	assert.InDelta(t, 180*before.GramsPerKPa()/after.GramsPerKPa()-180, rested[len(rested)-1], 0.01, "gas and beer")

	for i := range c.Points {
		c.Points[i].KPa = 180
	}
	held := c.answers([warmths]float64{0.1})[0]
	assert.Greater(t, held[len(held)-1], -8.0, "pressure that a regulator holds does not answer: what it did before that was seen is all")
}

// A quick thermostat turns the beer within two hours, and its gas follows it by a lag of little more than one.
func TestAnswersFollowAQuickThermostat(t *testing.T) {
	const step, lag, content = 1.0 / 60, 1.2, 160.0 // h, h, kPa at rest at first
	celsius := func(h float64) float64 { return 14.6 + 0.25*math.Sin(2*math.Pi*h/1.9) }
	c, kPa, h := newGauge(), content, 0.0
	for i := range 48 {
		var p, warm float64
		for range 30 {
			h += step
			rests := content * capacity(celsius(0), testShare) / capacity(celsius(h), testShare)
			kPa *= 1 + (celsius(h)-celsius(h-step))/(celsius(h)+zeroCelsius)
			kPa += (rests - kPa) * step / lag
			p, warm = p+kPa/30, warm+celsius(h)/30
		}
		c.Points = append(c.Points, headPoint{At: gaugeBegins.Add(time.Duration(i) * gaugeWidth), KPa: p, Celsius: warm, N: 30})
	}
	c.reckon(testShare)
	answer := c.answers([warmths]float64{lag})[0]
	for i := 12; i < len(answer); i++ {
		moved, answered := c.Points[i].KPa-c.Points[i-1].KPa, answer[i]-answer[i-1]
		assert.InDelta(t, moved, answered, 0.08, "half hour %d", i)
	}
}

// With nothing of its own to say the fit keeps quiet, and learns how the weather walks.
func TestAGaugeLearnsHowTheWeatherWalks(t *testing.T) {
	still := plays(func(float64) float64 { return 180 }, 96*time.Hour, 5*time.Minute, 0.02, 0.05, 3)
	windy := plays(func(float64) float64 { return 180 }, 96*time.Hour, 5*time.Minute, 0.5, 0.05, 3)
	assert.InDelta(t, leastPace, still.Pace, 0.01)
	assert.InDelta(t, 0.5, windy.Pace, 0.15)
}

// A gauge that speaks each half hour, or hour, tells its noise from the weather by how one word follows upon another.
func TestASeldomGaugeLearnsItsNoise(t *testing.T) {
	for _, every := range []time.Duration{30 * time.Minute, time.Hour} {
		for _, tt := range []struct{ pace, white float64 }{{0.15, 0.05}, {0.35, 0.05}, {0.15, 0.4}} {
			c := plays(func(float64) float64 { return 180 }, 14*24*time.Hour, every, tt.pace, tt.white, 3)
			assert.InDelta(t, tt.white, c.White, 0.08, "each %s: %v", every, tt)
			assert.InDelta(t, tt.pace, c.Pace, 0.08, "each %s: %v", every, tt)
		}
	}
}

// A closed tank that was cooled until its vacuum valve lets air in stands at no pressure, whatever its temperature does:
// that answers no temperature is no yeast's work.
func TestAirThatAVacuumValveLetsInIsNoCreep(t *testing.T) {
	t.Parallel()
	b := newBench(t, Settings{Sealed: true})
	b.crash(2)
	rng := rand.New(rand.NewPCG(5, 5))
	for hour := range 72 * 12 {
		celsius := 2 + 12*math.Exp(-float64(hour)/12/14)
		pressure := max(0.4, 30-2.2*(14-celsius)*1.4) + 0.1*rng.NormFloat64()
		b.read("well-3", Temperature, celsius)
		b.read("head-3", Pressure, pressure)
		b.pass(5 * time.Minute)
	}
	assert.Empty(t, b.of(Refermentation))
	assert.LessOrEqual(t, len(b.tank.state.Gauges["head-3"].Points), 2, "begun anew at every reading")
}

// A climb slower than creep mostly is has to be the clearer, but one that goes on for days is called.
func TestASlowClimbIsCalledOnceItIsClear(t *testing.T) {
	t.Parallel()
	const share, onset, rate = 0.08, 60.0, 0.03 / 24 // L/L, h, degP/h
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 160, ReliefKPa: 200, Sealed: true})
	b.crash(14.4)
	rng, walk, from := rand.New(rand.NewPCG(9, 9)), 0.0, b.now
	for b.of(Refermentation) == "" && b.now.Before(from.Add(7*24*time.Hour)) {
		walk += 0.12 * math.Sqrt(1.0/12) * rng.NormFloat64()
		made := rate * fermented(b.now.Sub(from).Hours()-onset) * beer.CO2PerPlato(15) / capacity(14.4, share)
		b.read("well-3", Temperature, 14.4)
		b.read("head-3", Pressure, 60+walk+made+0.1*rng.NormFloat64())
		b.pass(5 * time.Minute)
	}
	require.Equal(t, "+", b.of(Refermentation))
	c := b.tank.state.Gauges["head-3"]
	assert.Less(t, c.Rise.Rate, riseSlowest)
	assert.Greater(t, c.Score, b.tank.scoreNeeded()+riseDoubt+3, "more than a quicker climb would need")
}

// Once the lags of a null are over it is one and the same as any other whose are: a stretch that has rested for days is
// fitted once, and a fresh one by all of them.
func TestNullsWhoseLagsAreOverAreOne(t *testing.T) {
	still := func(float64) float64 { return 180 }
	fresh := plays(still, 24*time.Hour, 10*time.Minute, 0, 0.1, 1)
	all, s := lagPairs(), fresh.stretch(relaxLags())
	assert.Equal(t, all[:], s.pairs())
	assert.Len(t, s.nulls, len(all))
	rested := plays(still, 280*time.Hour, 10*time.Minute, 0, 0.1, 1)
	assert.Len(t, rested.stretch(relaxLags()).nulls, 1)
	assert.Len(t, rested.stretch(relaxLags()).x[0], sharedTerms)
}

// Over a small head space gas comes to rest within hours, so that a climb which goes on is creep: where the head space was
// told, a tank that was closed under creep is called the sooner.
func TestASmallHeadSpaceComesToRestSoon(t *testing.T) {
	t.Parallel()
	assert.InDelta(t, 3, relaxLagsOver(14.4, 0.05)[0], 0.2, "40 h of the beer, and more")
	assert.Equal(t, relaxLags(), relaxLagsOver(14.4, 0.3), "over a large one they are those of any")
	const share, rate = 0.06, 0.2 / 24 // L/L, degP/h
	called := func(s Settings) float64 {
		b := newBench(t, s)
		b.crash(14.4)
		rng, walk, from := rand.New(rand.NewPCG(5, 5)), 0.0, b.now
		for b.of(Refermentation) == "" && b.now.Before(from.Add(3*24*time.Hour)) {
			walk += 0.2 * math.Sqrt(1.0/12) * rng.NormFloat64()
			made := rate * fermented(b.now.Sub(from).Hours()+6) * beer.CO2PerPlato(15) / capacity(14.4, share)
			b.read("well-3", Temperature, 14.4)
			b.read("head-3", Pressure, 20+walk+made+0.1*rng.NormFloat64())
			b.pass(5 * time.Minute)
		}
		return b.now.Sub(from).Hours()
	}
	told := called(Settings{BeerLiters: 1000, HeadspaceLiters: 1000 * share, ReliefKPa: 200, Sealed: true})
	assert.Less(t, told, called(Settings{ReliefKPa: 200, Sealed: true})-1)
}

// restedTank is a closed tank at 60 kPa and 14.4 degC, in which pressure and temperature take a course after days of rest.
type restedTank struct {
	rests, every time.Duration
	noise        float64 // kPa, of the gauge
	seed         uint64
	kPa, kelvin  func(hours float64) float64 // over that; no kelvin: the beer stays as it is
	restarts     bool                        // spile does, after each reading of the course
	losesEach    int                         // so-manieth message of the gauge; 0: none
}

// play lets it go on for 14 h after its rest, and tells when that ended.
func (r restedTank) play(t *testing.T) (b *bench, from time.Time) {
	t.Helper()
	b = newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 160, ReliefKPa: 150})
	b.log("seal", nil, nil)
	b.crash(14.4)
	rng := rand.New(rand.NewPCG(8, r.seed))
	from = b.now.Add(r.rests)
	said := 0
	for b.now.Before(from.Add(14 * time.Hour)) {
		h, kPa, celsius := b.now.Sub(from).Hours(), 60.0, 14.4
		if h > 0 {
			kPa += r.kPa(h)
			if r.kelvin != nil {
				celsius += r.kelvin(h)
			}
		}
		b.read("well-3", Temperature, celsius)
		said++
		if heard := kPa + r.noise*rng.NormFloat64(); r.losesEach == 0 || said%r.losesEach != 0 {
			b.read("head-3", Pressure, heard)
		}
		if r.restarts && h > 0 {
			b.restart()
		}
		b.pass(r.every)
	}
	return b, from
}

// The pressure does not answer what a thermometer misreads. Where that is not known, the lag that fits best is too slow, and
// what beer that warms does to a quick tank comes sooner than it should: a climb that nobody made.
func TestWhatAThermometerMisreadsIsNoClimb(t *testing.T) {
	const noise, lag = 0.1, 0.4 // K, h
	score := func(told float64, seed uint64) float64 {
		rng := rand.New(rand.NewPCG(seed, 4))
		c, kPa := newGauge(), 180.0
		for hour := range 60 {
			celsius := 14.4 + 0.3*max(0, float64(hour-48))
			rests := 180 * capacity(14.4, testShare) / capacity(celsius, testShare)
			kPa += (rests - kPa) * (1 - math.Exp(-1/lag))
			if c.take(gaugeBegins.Add(time.Duration(hour)*time.Hour), math.Round(10*kPa)/10, celsius+noise*rng.NormFloat64(), reliefBand{}) {
				c.misreads(told)
				c.judge(testShare, capacity(14.4, testShare)/beer.CO2PerPlato(15), relaxLags())
			}
		}
		return c.Score
	}
	var blind, told []float64
	for seed := range uint64(40) {
		blind, told = append(blind, score(0, seed)), append(told, score(noise, seed))
	}
	assert.Less(t, slices.Max(told), 7.0, "nats")
	assert.Greater(t, slices.Max(blind), 11.0, "or the beer is too easy for this test")
}

// How much a thermometer misreads is learned of its own trail.
func TestAGaugeKnowsHowWellItsThermometerReads(t *testing.T) {
	for _, each := range []time.Duration{55 * time.Minute, 64 * time.Minute} {
		for _, noise := range []float64{0.02, 0.12} {
			b, rng := newBench(t, Settings{}), rand.New(rand.NewPCG(6, 6))
			for range 96 {
				b.pass(each)
				b.read("well-3", Temperature, 14.4+noise*rng.NormFloat64())
				b.read("head-3", Pressure, 80)
			}
			var misread []float64
			for _, p := range b.tank.state.Gauges["head-3"].Points[24:] {
				misread = append(misread, p.Misread)
			}
			assert.InDelta(t, math.Sqrt(max(0, noise*noise-headingNoise*headingNoise)), median(misread), 0.03, "%g K each %s", noise, each)
		}
	}
}

// That a gauge stood before it climbs holds after a restart, before its next half hour is over, as it did.
func TestWhatStoodIsKnownAfterARestart(t *testing.T) {
	b := newBench(t, Settings{})
	for b.now.Before(began.Add(48 * time.Hour)) {
		celsius := 14.4 + 0.3*math.Sin(b.now.Sub(began).Hours()/4)
		b.read("well-3", Temperature, celsius)
		b.read("head-3", Pressure, 60+2*(celsius-14.4))
		b.pass(10 * time.Minute)
	}
	for range 2 {
		c := b.tank.state.Gauges["head-3"]
		c.Rise.Onset = b.now.Add(-6 * time.Hour)
		assert.True(t, b.tank.stoodFinished(c))
		b.restart()
	}
}

// A half hour of three means is misread by less than one of a single one, and a good thermometer's is not.
func TestMeansOfAThermometerMisreadLess(t *testing.T) {
	misread := func(n int, noise float64) float64 {
		c := newGauge()
		c.Points = []headPoint{{N: n}}
		c.misreads(noise)
		return c.Points[0].Misread
	}
	assert.InDelta(t, math.Sqrt(3), misread(1, 0.12)/misread(30, 0.12), 1e-9)
	assert.Zero(t, misread(1, headingNoise))
	assert.Zero(t, misread(1, 0), "of a thermometer that is new")
}

// A stretch counts for what it saw itself, and not for what went before it.
func TestAStretchHasWatchedWhatItSaw(t *testing.T) {
	hour := func(h int) time.Time { return gaugeBegins.Add(time.Duration(h) * time.Hour) }
	for _, tt := range []struct {
		since, until int
		watched      bool
	}{{-20, 50, true}, {-20, 49, false}, {40, 90, true}, {41, 90, false}, {-20, -10, false}} {
		s := stood{Since: hour(tt.since), Until: hour(tt.until)}
		assert.Equal(t, tt.watched, s.watched(hour(0), hour(100)), tt)
	}
	assert.False(t, (&stood{}).watched(hour(0), hour(100)), "nothing stood yet")
}
