package detect

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// closedTank is a closed tank of known volumes that has been quiet for 30 hours at 80 kPa.
func closedTank(t *testing.T) *bench {
	t.Helper()
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.log("seal", nil, nil)
	b.leaks(80, 0, 30*time.Hour)
	return b
}

// leaks lets the gauge fall by so much an hour, and gives what it ends at. The
// thermostat swings by three tenths of a kelvin, and the pressure with it.
func (b *bench) leaks(from, perHour float64, length time.Duration) float64 {
	return b.leaksHeard(5*time.Minute, from, perHour, length)
}

// leaksHeard is the same for probes that speak each so often.
func (b *bench) leaksHeard(each time.Duration, from, perHour float64, length time.Duration) float64 {
	p := from
	for start := b.now; b.now.Before(start.Add(length)); b.pass(each) {
		swing := math.Sin(2 * math.Pi * b.now.Sub(began).Hours() / 3)
		b.read("well-3", Temperature, 14.4+0.3*swing)
		b.read("head-3", Pressure, p+0.2*swing)
		p -= perHour * each.Hours()
	}
	return p
}

func TestALeakIsCalledOnceUntilThePressureHolds(t *testing.T) {
	b := closedTank(t)
	p := b.leaks(80, 0.8, 24*time.Hour)
	require.Equal(t, "+", b.of(Leak))
	found := b.last(Leak).Time.Sub(began.Add(30 * time.Hour))
	assert.Less(t, found, 12*time.Hour)

	p = b.leaks(p, 0, 8*time.Hour) // the beer gives back what was lost
	p = b.leaks(p, 0.8, 12*time.Hour)
	require.Equal(t, "+", b.of(Leak), "a pause of some hours is no end of a leak, and what goes on is not called anew")

	b.leaks(p, 0, 20*time.Hour)
	require.Equal(t, "+-", b.of(Leak))
	assert.Contains(t, b.last(Leak).Summary, "head pressure holds at")
}

// A gauge may speak so seldom that the hours in which a loss shows hold too few of its readings for a rate.
func TestALeakIsFoundHoweverSeldomTheGaugeSpeaks(t *testing.T) {
	for _, each := range []time.Duration{30 * time.Minute, 45 * time.Minute, time.Hour} {
		t.Run(each.String(), func(t *testing.T) {
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			b.log("seal", nil, nil)
			p := b.leaksHeard(each, 80, 0, 30*time.Hour)
			require.Empty(t, b.of(Leak))

			b.leaksHeard(each, p, 0.8, 24*time.Hour)
			require.Equal(t, "+", b.of(Leak))
			assert.Less(t, b.last(Leak).Time.Sub(began.Add(30*time.Hour)), 12*time.Hour)
		})
	}
}

func TestALeakIsOverAsTheTankIsOpened(t *testing.T) {
	b := closedTank(t)
	b.leaks(80, 0.8, 24*time.Hour)
	require.Equal(t, "+", b.of(Leak))
	b.log("vent", nil, nil)
	b.leaks(0, 0, time.Hour)
	assert.Equal(t, "+-", b.of(Leak))
}

func TestGasThatGoesIntoTheBeerIsNoLeak(t *testing.T) {
	b := closedTank(t)
	b.log("gas", map[string]float64{"hold": 110}, nil)
	b.leaks(110, 0, time.Hour)
	b.log("gas", nil, map[string]string{"hold": "off"})
	p := 110.0
	for range 48 { // some two kPa less each hour, at first, with a lag of fifteen hours
		b.leaks(p, (p-85)/15, time.Hour)
		p -= (p - 85) / 15
	}
	assert.Empty(t, b.of(Leak))
}

func TestAClosedTankThatLosesGasIsFound(t *testing.T) {
	tests := map[string]struct {
		perHour float64 // kPa that the gauge falls
		gas     string
		want    string
	}{
		"a leak":                {0.4, "seal", "+"},
		"one that holds":        {0, "seal", ""},
		"the weather":           {0.05, "seal", ""},
		"at a valve":            {0.4, "spund", ""},
		"below a shut valve":    {0.4, "shut", "+"},
		"with CO2 left on":      {0.4, "gas", ""},
		"blown down in a trice": {400, "seal", ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			switch tt.gas {
			case "spund":
				b.log("vent", map[string]float64{"pressure": 60}, nil) // or somebody has set it lower since
			case "shut":
				b.log("vent", map[string]float64{"pressure": 90}, nil)
			case "gas":
				b.log("gas", map[string]float64{"hold": 80}, nil)
			default:
				b.log("seal", nil, nil)
			}
			p := 80.0
			for minutes := range 60 * 48 {
				if minutes > 60*30 {
					p = max(p-tt.perHour/30, 0.2)
				}
				if minutes%2 == 0 {
					b.read("well-3", Temperature, 14.4)
					b.read("head-3", Pressure, p)
				}
				b.pass(time.Minute)
			}
			assert.Equal(t, tt.want, b.of(Leak))
			if tt.gas == "shut" {
				assert.Contains(t, b.last(Leak).Summary, "By the log a valve holds 90.0 kPa: was it set lower?")
			}
		})
	}
}

// A gauge whose balance was seen to wander must show more of a loss than one that stood still; nobody is named early.
func TestAQuietGaugeNamesALeakSooner(t *testing.T) {
	excursion := func(c *calm, b *balance, peak float64) {
		for _, lost := range []float64{0, peak / 2, peak, 0} {
			for i := range b.Loss {
				b.Loss[i] = lost
			}
			c.watch(b)
		}
	}
	b := &balance{Since: began}
	var still, weather calm
	excursion(&still, b, 0.004)
	excursion(&weather, b, 0.02)
	excursion(&weather, b, 0.01)
	week := began.Add(7 * 24 * time.Hour)
	assert.InDelta(t, leakAtBest, still.enough(week), 1e-12)
	assert.InDelta(t, calmTimes*0.02+calmPast, weather.enough(week), 1e-12)
	assert.InDelta(t, leakEnough, still.enough(began.Add(unsettled)), 1e-12, "not watched for long enough")
	excursion(&weather, b, 0.2)
	assert.InDelta(t, leakEnough, weather.enough(week), 1e-12, "never more than without it")
}

// A float that speaks for the beer while the well is silent is off by something else.
func TestAnotherThermometerTakesNoCO2(t *testing.T) {
	b := closedTank(t)
	both := func(well bool, length time.Duration) {
		for start := b.now; b.now.Before(start.Add(length)); b.pass(5 * time.Minute) {
			b.read("hyd-3", Gravity, 1.012)
			b.read("hyd-3", Temperature, 13.4)
			if well {
				b.read("well-3", Temperature, 14.4)
			}
			b.read("head-3", Pressure, 80+0.5*math.Sin(2*math.Pi*b.now.Sub(began).Hours()/3))
		}
	}
	both(true, 20*time.Hour)
	both(false, 6*time.Hour)
	require.Equal(t, "hyd-3", b.tank.state.Drift.Thermometer)
	both(true, 2*time.Hour)
	require.Equal(t, "well-3", b.tank.state.Drift.Thermometer)
	assert.Less(t, b.tank.state.Balances["head-3"].lost(), 0.02)
	assert.Empty(t, b.of(Leak))
}

// A sample takes some kPa at once, which a gauge that speaks each ten minutes shows by its second word.
func TestASampleNobodyLoggedIsNoLeak(t *testing.T) {
	b := closedTank(t)
	every := func(kPa float64, length time.Duration) {
		for start := b.now; b.now.Before(start.Add(length)); b.pass(10 * time.Minute) {
			b.read("well-3", Temperature, 14.4)
			b.read("head-3", Pressure, kPa)
		}
	}
	every(80, 24*time.Hour)
	every(73.4, 12*time.Hour)
	assert.Empty(t, b.of(Leak))
}

// A brewer who says that hands are on the tank need not say what they take.
func TestWhatHandsTakeIsNoLeak(t *testing.T) {
	for name, want := range map[string]string{"hands": "", "nobody": "+"} {
		b := closedTank(t)
		b.leaks(80, 0, 24*time.Hour)
		if name == "hands" {
			b.log("work", map[string]float64{"for": 2}, nil)
		}
		p := b.leaks(80, 3.5, 2*time.Hour)
		b.leaks(p, 0, 6*time.Hour)
		assert.Equal(t, want != "", b.tank.state.Gauges["head-3"].Drop.KPa > 3, name)
		b.leaks(p, 0, 6*time.Hour)
		assert.Equal(t, want, b.of(Leak), name)
	}
}

// What neither shows for sure, both may.
func TestDropAndBalanceAgreeOnALeak(t *testing.T) {
	settled := 30 * time.Hour
	for name, tt := range map[string]struct {
		score, step, kPa, lost float64
		since, lasts           time.Duration
		want                   bool
		falls                  float64 // kPa/h until now
	}{
		"both, nearly enough":                  {20, 5, 5, 0.055, settled, 8 * time.Hour, true, 0},
		"both, as a rough night's weather is":  {17, 8, 6, 0.075, settled, 13 * time.Hour, false, 0},
		"a drop of little weight":              {12, 5, 5, 0.085, settled, 8 * time.Hour, false, 0},
		"and little lost":                      {18, 5, 5, 0.025, settled, 8 * time.Hour, false, 0},
		"between the two, in proportion":       {22, 5, 5, 0.045, settled, 8 * time.Hour, true, 0},
		"a drop by itself":                     {25, 5, 5, 0, settled, 8 * time.Hour, true, 0},
		"weather of some hours, thermostat on": {25.7, 9, 5, 0.005, settled, 3 * time.Hour, false, 0},
		"so quick, and far beyond the weather": {40, 20, 5, 0.005, settled, 3 * time.Hour, true, 0},
		"long ago, and the balance knows none": {31, 31, 5, 0, 2 * settled, 25 * time.Hour, false, 0},
		"long ago, and it goes on":             {31, 31, 5, 0.03, 2 * settled, 25 * time.Hour, true, 0.15},
		"long ago, and it has come to rest":    {31, 31, 5, 0.03, 2 * settled, 25 * time.Hour, false, 0.02},
		"gas put on by day, at rest by night":  {31, 31, 5, 0, 2 * settled, 13 * time.Hour, false, 0},
		"soon after an act":                    {31, 31, 5, 0.03, settled, 25 * time.Hour, false, 0},
		"a small one":                          {30, 5, 4.2, 0, settled, 8 * time.Hour, false, 0},
		"one that may as well be a step":       {30, 1, 5, 0, settled, 8 * time.Hour, false, 0},
		"one of gas that people moved":         {30, 5, 5, 0.03, 10 * time.Hour, 8 * time.Hour, false, 0},
	} {
		t.Run(name, func(t *testing.T) {
			b := closedTank(t)
			c := b.tank.state.Gauges["head-3"]
			at := c.Since.Add(tt.since)
			for i := range c.Points {
				c.Points[i].KPa -= tt.falls * c.Points[i].At.Sub(c.Since).Hours()
			}
			c.Drop = headDrop{KPa: tt.kPa, Score: tt.score, Step: tt.step, At: at.Add(-tt.lasts)}
			balance := &balance{At: at}
			for i := range balance.Loss {
				balance.Loss[i] = tt.lost
			}
			assert.Equal(t, tt.want, b.tank.drops("head-3", balance))
		})
	}
}

// What goes down soon after hands were on the tank is gas that comes to rest; later it is a leak.
func TestADropSoonAfterWorkIsNoLeak(t *testing.T) {
	for after, want := range map[time.Duration]bool{dropRested - time.Hour: false, dropRested: true} {
		b := closedTank(t)
		b.log("work", map[string]float64{"for": 2}, nil)
		began := b.now.Add(2*time.Hour + after)
		b.tank.state.Gauges["head-3"].Drop = headDrop{KPa: 5, Score: 40, Step: 20, At: began}
		assert.Equal(t, want, b.tank.drops("head-3", &balance{At: began.Add(8 * time.Hour)}), after)
	}
}

// A thermostat's swing feigns a loss to the balance for some hours. What a leak takes shows on the gauge as well.
func TestALossOfSomeHoursMustShowAsADrop(t *testing.T) {
	for name, tt := range map[string]struct {
		score, step float64
		since       time.Duration
		want        bool
	}{
		"some hours, and no drop":          {2, 0, 4 * time.Hour, false},
		"some hours, and a drop":           {20, 4, 4 * time.Hour, true},
		"some hours of rough weather":      {17, 4, 4 * time.Hour, false},
		"a step":                           {30, -15, 4 * time.Hour, false},
		"what goes on when a step is over": {30, -15, 6 * time.Hour, true},
		"a day: no drop goes back":         {2, 0, 24 * time.Hour, true},
	} {
		t.Run(name, func(t *testing.T) {
			b := closedTank(t)
			began := b.now.Add(-tt.since)
			b.tank.state.Gauges["head-3"].Drop = headDrop{Score: tt.score, Step: tt.step, At: began}
			going := &balance{At: b.now, LostAt: began}
			for i := range going.Loss {
				going.Loss[i] = leakEnough
			}
			for at := b.now.Add(-trailForLeaks); at.Before(b.now); at = at.Add(balanceWidth) {
				point := trailPoint{At: at}
				for i := range point.M {
					point.M[i] = 3 - 0.4*at.Sub(b.now).Hours()/24
				}
				going.Trail = append(going.Trail, point)
			}
			rate, ok := going.rate(trailForLeaks)
			require.True(t, ok)
			assert.Equal(t, tt.want, b.tank.loses("head-3", going, rate))
		})
	}
}

// A wild reading that is just near enough to be believed is a jump of gas to nobody, before the next has stood by it.
func TestALoneWildReadingLeavesTheBalanceAlone(t *testing.T) {
	b := closedTank(t)
	b.leaks(80, 0, 30*time.Hour)
	since := b.tank.state.Balances["head-3"].Since
	b.read("head-3", Pressure, 84.5)
	b.pass(time.Minute)
	b.leaks(80, 0, time.Hour)
	assert.Equal(t, since, b.tank.state.Balances["head-3"].Since)
	b.leaks(84.5, 0, time.Hour)
	assert.NotEqual(t, since, b.tank.state.Balances["head-3"].Since, "gas that was put on")
}

// A regulator that nobody logged holds what it has lifted; off again, its gas goes into the beer for days. A leak takes gas
// that had come to rest, or more than was put on.
func TestGasOfARegulatorThatIsOffIsNoLeak(t *testing.T) {
	t.Parallel()
	leak := func(h float64) float64 { return 8*math.Expm1(-h/3) - 0.1*h }
	rests := func(h float64) float64 { return 20 * math.Expm1(-h/15) }
	soon := func(h float64) float64 { return 12 * math.Expm1(-h/4) }
	for name, tt := range map[string]struct {
		from  float64       // kPa, where it stood for two days before
		on    time.Duration // after which it goes on
		held  func(hours float64) float64
		then  func(hours float64) float64
		want  string
		told  bool // in the log
		over  time.Duration
		stood float64 // kPa, before it was opened
	}{
		"held for a day":                      {50, 24 * time.Hour, func(float64) float64 { return 0 }, rests, "", false, 22 * time.Hour, 0},
		"held for some hours":                 {50, 4 * time.Hour, func(float64) float64 { return 0 }, rests, "", false, 22 * time.Hour, 0},
		"for days after":                      {50, 24 * time.Hour, func(float64) float64 { return 0 }, soon, "", false, 48 * time.Hour, 0},
		"higher before it was opened":         {50, 24 * time.Hour, func(float64) float64 { return 0 }, rests, "", false, 22 * time.Hour, 72},
		"a leak of gas that the log tells of": {50, 24 * time.Hour, func(float64) float64 { return 0 }, leak, "+", true, 22 * time.Hour, 0},
		"a leak of gas that had come to rest": {50, 36 * time.Hour, func(h float64) float64 { return 0.7 * rests(h) }, leak, "+", false, 22 * time.Hour, 0},
		"a leak of a tank that stood open":    {2, 24 * time.Hour, func(float64) float64 { return 0 }, leak, "+", false, 22 * time.Hour, 0},
		"a leak of more than was put on":      {50, 24 * time.Hour, func(float64) float64 { return 0 }, func(h float64) float64 { return 3.5 * leak(h) }, "+", false, 22 * time.Hour, 0},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 160, ReliefKPa: 150})
			if tt.stood > 0 {
				b.leaks(tt.stood, 0, 12*time.Hour)
				b.log("vent", nil, nil)
				b.leaks(0, 0, time.Hour)
			}
			b.log("seal", nil, nil)
			rng := rand.New(rand.NewPCG(8, 2))
			lifted := b.now.Add(42 * time.Hour)
			off := lifted.Add(tt.on)
			for b.now.Before(off.Add(tt.over)) {
				kPa := tt.from
				if tt.told && b.now.Equal(lifted) {
					b.log("gas", map[string]float64{"pressure": tt.from + 20}, nil)
				}
				switch {
				case !b.now.Before(off):
					kPa += 20 + tt.held(tt.on.Hours()) + tt.then(b.now.Sub(off).Hours())
				case !b.now.Before(lifted):
					kPa += 20 + tt.held(b.now.Sub(lifted).Hours())
				}
				b.read("well-3", Temperature, 14.4)
				b.read("head-3", Pressure, kPa+0.1*rng.NormFloat64())
				b.pass(2 * time.Minute)
			}
			assert.Equal(t, tt.want, b.of(Leak))
		})
	}
}

// Gas that was let off and put back is no new gas: what it stood at before, it stands at again.
func TestALeakAfterGasWasPutBackIsFound(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.log("seal", nil, nil)
	b.leaks(80, 0, 72*time.Hour)
	b.leaks(50, 0, 90*time.Minute)
	b.leaks(80, 0, 26*time.Hour)
	require.Empty(t, b.of(Leak))
	b.leaks(80, 1.5, 8*time.Hour)
	assert.Equal(t, "+", b.of(Leak))
}

// A float that speaks each hour may be the only thermometer. It is not silent between its words.
func TestAnHourlyThermometerHidesNoLeak(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.log("seal", nil, nil)
	read := func(from, perHour float64, length time.Duration) {
		for start := b.now; b.now.Before(start.Add(length)) && b.of(Leak) == ""; b.pass(5 * time.Minute) {
			swing := math.Sin(2 * math.Pi * b.now.Sub(began).Hours() / 5)
			if b.now.Sub(began)%time.Hour == 0 {
				b.read("hyd-3", Temperature, 14.4+0.2*swing)
			}
			b.read("head-3", Pressure, from+0.2*swing-perHour*b.now.Sub(start).Hours())
		}
	}
	read(80, 0, 40*time.Hour)
	require.Empty(t, b.of(Leak))
	read(80, 1, 12*time.Hour)
	assert.Equal(t, "+", b.of(Leak))
}

// A gauge that speaks each hour sees a large leak in long steps, which are no hands on the gas.
func TestAnHourlyGaugeTellsALargeLeak(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.log("seal", nil, nil)
	b.leaksHeard(time.Hour, 80, 0, 40*time.Hour)
	require.Empty(t, b.of(Leak))
	for start := b.now; b.now.Before(start.Add(8*time.Hour)) && b.of(Leak) == ""; {
		hours := b.now.Sub(start).Hours()
		b.leaksHeard(time.Hour, 80-40*dropped(hours), 0, time.Hour) // 12 kPa in the first of them
	}
	assert.Equal(t, "+", b.of(Leak))
}
