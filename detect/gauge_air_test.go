package detect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect/beer"
)

// besides lets a gauge hear for some hours a closed tank that does what is made of it, kPa absolute, and answers the air outside
// to a share, with a barometer beside it. It tells the highest score that it came to.
func besides(made, air func(hours float64) float64, share, length float64, seed uint64) (c *gauge, highest float64) {
	rng := rand.New(rand.NewPCG(seed, 8))
	c = newGauge()
	var outside barometer
	tank := NewTank("FV1", Settings{})
	for at := time.Duration(0); at.Hours() < length; at += 5 * time.Minute {
		outside = tank.state.Air
		tank.Air(Reading{Probe: "baro-1", Quantity: Pressure, Time: gaugeBegins.Add(at), Value: beer.StandardAtmosphere + air(at.Hours())})
		kPa := 180 + made(at.Hours()) - share*air(at.Hours()) + 0.15*rng.NormFloat64()
		if c.take(gaugeBegins.Add(at), math.Round(kPa*10)/10, 14.4, reliefBand{}) {
			c.heardAir(&outside)
			c.judge(testShare, capacity(14.4, testShare)/beer.CO2PerPlato(15), relaxLags())
			highest = max(highest, c.Score)
		}
	}
	return c, highest
}

// wandering is air that wanders by as much as temperate weather does (common practice: a standard deviation of 1 kPa that is
// forgotten in a day and a half).
func wandering(seed uint64) func(hours float64) float64 {
	rng := rand.New(rand.NewPCG(seed, 9))
	hourly := make([]float64, 400)
	for i := 1; i < len(hourly); i++ {
		hourly[i] = hourly[i-1]*(1-1.0/36) + math.Sqrt(2.0/36)*rng.NormFloat64()
	}
	return func(hours float64) float64 {
		i := int(hours)
		return hourly[i] + (hours-float64(i))*(hourly[i+1]-hourly[i])
	}
}

func nothingMade(float64) float64 { return 0 }

// A gauge shows by itself whether it is open to the air behind, and keeps it when hands move the gas.
func TestAGaugeShowsWhetherTheWeatherIsOnIt(t *testing.T) {
	var open, closed []float64
	for seed := range uint64(4) {
		o, _ := besides(nothingMade, wandering(seed), 1, 72, seed)
		c, _ := besides(nothingMade, wandering(seed), 0, 72, seed)
		open, closed = append(open, o.Open.Share), append(closed, c.Open.Share)
		known := o.Open.Share
		o.act(gaugeBegins.Add(72 * time.Hour))
		assert.Equal(t, known, o.Open.Share)
		assert.Equal(t, known, o.Open.Before)
		assert.Greater(t, o.Open.Known, notKnown().Known)
	}
	assert.Greater(t, slices.Min(open), 0.75)
	assert.Less(t, slices.Max(open), 1.25)
	assert.Less(t, slices.Max(closed), 0.25)
	assert.Greater(t, slices.Min(closed), -0.25)
}

// What was learned is kept once the points that it was learned from are gone, and no stretch makes it surer than a gauge is that
// may be changed.
func TestWhatAGaugeShowedOfTheWeatherIsKept(t *testing.T) {
	windy := wandering(3)
	calmed := func(h float64) float64 { return windy(min(h, 72)) }
	for _, share := range []float64{0, 1} {
		c, _ := besides(nothingMade, calmed, share, 190, 3)
		require.Len(t, c.Points, gaugeWindow)
		require.True(t, c.Points[0].At.After(gaugeBegins.Add(72*time.Hour)))
		assert.InDelta(t, share, c.Open.Share, 0.25)
		assert.True(t, c.Open.known())
		own := c.ownDays(c.Pace, 0)
		assert.Equal(t, c.Open, own.Open, "a drop is looked for in the same weather")
	}
	assert.False(t, notKnown().known())
	sure := weathering{Share: 1, Before: 0, Known: 50, Weight: 1e6}.goesOn()
	assert.InDelta(t, 1/(weatherKnown*weatherKnown), sure.Known, 1e-9)
	assert.Equal(t, weathering{Share: 1, Before: 1, Known: sure.Known}, sure)
}

// No gauge answers the air backwards, or more than it moves; and what may be a creep is not taken for weather.
func TestWhatIsNoWeatherIsNotLearnedFrom(t *testing.T) {
	falls := func(h float64) float64 { return -4 * min(max((h-60)/16, 0), 1) }
	backwards, _ := besides(func(h float64) float64 { return 2 * falls(h) }, falls, 0, 76, 1)
	assert.Zero(t, backwards.Open.Share)
	most, _ := besides(func(h float64) float64 { return -2 * falls(h) / 3 }, falls, 1, 70, 1)
	assert.LessOrEqual(t, most.Open.Share, 1.0)
	quick, score := besides(func(h float64) float64 { return 3 * fermented(h-60) }, falls, 0, 80, 1)
	assert.Greater(t, score, weatherFreely)
	assert.Less(t, quick.Open.Share, 0.7, "it rises while the air falls")
}

// With a barometer a low that lifts a gauge by 4 kPa in half a day is no climb, which without one it would be; and a gauge that
// was closed at the factory still shows a creep that a low happens to pass over.
func TestABarometerTellsALowFromACreep(t *testing.T) {
	enough := NewTank("FV1", Settings{}).scoreNeeded() + riseDoubt
	low := func(seed uint64) func(float64) float64 {
		calm := wandering(seed)
		return func(h float64) float64 { return calm(h)/3 - 4*min(max((h-60)/12, 0), 1) }
	}
	creep := func(h float64) float64 { return 0.55 * fermented(h-60) }
	still := func(float64) float64 { return 0 }
	var with, without, closed []float64
	for seed := range uint64(4) {
		air := low(seed)
		_, heard := besides(nothingMade, air, 1, 76, seed)
		_, unheard := besides(func(h float64) float64 { return -air(h) }, still, 0, 76, seed)
		_, sealed := besides(creep, air, 0, 90, seed)
		with, without, closed = append(with, heard), append(without, unheard), append(closed, sealed)
	}
	assert.Less(t, slices.Max(with), enough/2)
	assert.Greater(t, slices.Max(without), enough)
	assert.Greater(t, slices.Min(closed), enough)
}

// Two barometers differ by some kPa for good, which is no weather.
func TestAnotherBarometerIsNoWeather(t *testing.T) {
	tank, c := NewTank("FV1", Settings{}), newGauge()
	for minute := 0; minute <= 8*60; minute += 5 {
		probe, kPa := "baro-1", 101.3
		if minute > 5*60 {
			probe, kPa = "baro-2", 100.2
		}
		if at := gaugeBegins.Add(time.Duration(minute) * time.Minute); minute%60 == 55 { // a gauge that seldom speaks
			c.Points = append(c.Points, headPoint{At: at})
			c.heardAir(&tank.state.Air)
		} else {
			tank.Air(Reading{Probe: probe, Quantity: Pressure, Time: at, Value: kPa})
		}
	}
	require.Equal(t, "baro-2", tank.state.Air.Probe)
	assert.Equal(t, 100.2, c.Points[len(c.Points)-1].Air)
	for _, kPa := range c.air() {
		assert.Zero(t, kPa)
	}
}

// What nobody heard of the air, and what no weather does, is no weather.
func TestTheAirIsFollowedFromPointToPoint(t *testing.T) {
	c := newGauge()
	for i, kPa := range []float64{100, 100.4, 0, 103, 103.2, 98, 98.1} {
		c.Points = append(c.Points, headPoint{At: gaugeBegins.Add(time.Duration(i) * gaugeWidth), Air: kPa})
	}
	assert.InDeltaSlice(t, []float64{0, 0.4, 0.4, 0.4, 0.6, 0.6, 0.7}, c.air(), 1e-9)
	c.Points[6].At = c.Points[6].At.Add(4 * gaugeWidth) // the gauge was silent, the barometer was not
	c.Points[6].Air = 101
	assert.InDelta(t, 3.6, c.air()[6], 1e-9)
	c.Points[6].Air = 98.1
	moved, heard := c.airSince(gaugeBegins.Add(4 * gaugeWidth))
	assert.InDelta(t, 0.1, moved, 1e-9)
	assert.True(t, heard)
	_, heard = c.airSince(gaugeBegins.Add(2 * gaugeWidth))
	assert.False(t, heard, "it was silent then")
	for i := range c.Points {
		c.Points[i].Air = 0
	}
	assert.Nil(t, c.air())
	_, heard = c.airSince(gaugeBegins)
	assert.False(t, heard)
}

func TestABarometerIsHeardAsItSpeaks(t *testing.T) {
	minute := func(m int) time.Time { return gaugeBegins.Add(time.Duration(m) * time.Minute) }
	say := func(m int, kPa float64) Reading {
		return Reading{Tank: "yard", Probe: "baro-1", Quantity: Pressure, Time: minute(m), Value: kPa}
	}
	by := func(probe string, r Reading) Reading { r.Probe = probe; return r }
	late := say(20, 90)
	late.Late = true
	warmth := say(20, 90)
	warmth.Quantity = Temperature
	for name, test := range map[string]struct {
		said []Reading
		at   int
		want float64
	}{
		"nothing":                       {nil, 30, 0},
		"the middle of its half hour":   {[]Reading{say(1, 100), say(11, 100.3), say(21, 100.1)}, 30, 100.1},
		"its last word, an hour old":    {[]Reading{say(0, 100.2)}, 65, 100.2},
		"older than that":               {[]Reading{say(0, 100.2)}, 66, 0},
		"not what is of the moment":     {[]Reading{say(0, 100.2), say(30, 101)}, 30, 100.2},
		"the first of each ten":         {[]Reading{say(10, 100.2), say(11, 103), say(19, 103)}, 30, 100.2},
		"the end of the next ten":       {[]Reading{say(9, 100.2), say(10, 100.4), say(19, 103)}, 30, 100.3},
		"no air is so thin":             {[]Reading{say(0, 100.2), say(20, 0)}, 30, 100.2},
		"nor so thick":                  {[]Reading{say(0, 100.2), say(20, 1013)}, 30, 100.2},
		"a late one":                    {[]Reading{say(0, 100.2), late}, 30, 100.2},
		"its temperature":               {[]Reading{say(0, 100.2), warmth}, 30, 100.2},
		"another while it is heard":     {[]Reading{say(0, 100.2), by("baro-2", say(20, 99))}, 30, 100.2},
		"another once it is not":        {[]Reading{say(0, 100.2), by("baro-2", say(70, 99))}, 90, 99},
		"a backlog looks into the past": {[]Reading{say(0, 100.2), say(40, 101), say(80, 102)}, 45, 101},
	} {
		tank := NewTank("FV1", Settings{})
		for _, r := range test.said {
			tank.Air(r)
		}
		assert.InDelta(t, test.want, tank.state.Air.before(minute(test.at)), 1e-9, name)
	}
	for name, order := range map[string][]Reading{
		"one": {say(0, 100), by("baro-2", say(0, 99)), say(20, 100)}, "other": {by("baro-2", say(0, 99)), say(0, 100), say(20, 100)},
	} {
		tank := NewTank("FV1", Settings{})
		for _, r := range order {
			tank.Air(r)
		}
		assert.Equal(t, 100.0, tank.state.Air.before(minute(30)), name)
	}
	tank := NewTank("FV1", Settings{})
	for m := 0; m < 3*24*60; m += 5 {
		tank.Air(say(m, 100))
	}
	require.LessOrEqual(t, len(tank.state.Air.Said), int(airKept/airPace)+1)
}

// A probe outside is of no tank: its hundred kPa are no head pressure, and its temperature is not the beer's.
func TestAProbeOutsideIsOfNoTank(t *testing.T) {
	b := newBench(t, Settings{ReliefKPa: 100, Sealed: true, At: map[string]Place{"baro-1": Outside}})
	b.crash(4)
	b.hold("baro-1", Pressure, 101.3, 5*time.Minute, 6*time.Hour)
	b.hold("baro-1", Temperature, 19, 5*time.Minute, 6*time.Hour)
	assert.Empty(t, b.of(OverPressure)+b.of(CrashDrift)+b.of(ProbeFault))
	assert.Empty(t, b.tank.Status().Last)
	assert.NotEmpty(t, b.tank.state.Air.Said)
	b.pass(3 * time.Hour)
	assert.Equal(t, "+", b.of(ProbeSilent), "it is missed as any other")
}
