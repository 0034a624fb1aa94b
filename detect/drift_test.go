package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBeerThatWarmsIsFoundAndEnds(t *testing.T) {
	b := newBench(t, Settings{Display: Display{Temperature: "degF"}})
	b.crash(14.4)
	for _, c := range []float64{14.4, 14.9, 15.1} {
		b.hold("well-3", Temperature, c, 5*time.Minute, 40*time.Minute)
	}
	require.Empty(t, b.of(CrashDrift))
	b.hold("well-3", Temperature, 15.6, 5*time.Minute, 30*time.Minute)
	f := b.last(CrashDrift)
	require.True(t, f.Active)
	assert.Contains(t, f.Summary, "60.1 degF")
	assert.InDelta(t, 15.6, *f.Evidence.TemperatureCelsius, 1e-9)
	assert.InDelta(t, 14.4, *f.Evidence.SetpointCelsius, 1e-9)

	b.hold("well-3", Temperature, 15.2, 5*time.Minute, 10*time.Minute)
	require.Equal(t, "+", b.of(CrashDrift), "within the deadband it goes on")
	b.hold("well-3", Temperature, 14.8, 5*time.Minute, 10*time.Minute)
	require.Equal(t, "+-", b.of(CrashDrift))
}

func TestDriftIsNotFooled(t *testing.T) {
	tests := map[string]func(*bench){
		"a lone wild value": func(b *bench) {
			b.crash(14.4)
			b.hold("well-3", Temperature, 14.4, 5*time.Minute, time.Hour)
			b.read("well-3", Temperature, 25)
			b.hold("well-3", Temperature, 14.4, 5*time.Minute, time.Hour)
		},
		"the first value of a thermometer, and wild": func(b *bench) {
			b.crash(14.4)
			b.read("hyd-1", Gravity, 1.0118)
			b.hold("hyd-1", Temperature, 14.4, 10*time.Minute, time.Hour)
			b.read("well-3", Temperature, 25)
			b.pass(10 * time.Minute)
			b.hold("well-3", Temperature, 14.4, 10*time.Minute, time.Hour)
		},
		"a tank on its way down": func(b *bench) {
			b.hold("well-3", Temperature, 19, 5*time.Minute, time.Hour)
			b.crash(14.4)
			for c := 19.0; c > 14.4; c -= 0.05 {
				b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
			}
		},
		"a strong jacket, and a probe that speaks once an hour": func(b *bench) {
			b.hold("well-3", Temperature, 14.4, time.Hour, 24*time.Hour)
			b.crash(2)
			for c := 14.4; c > 2; c -= 1.6 {
				b.hold("well-3", Temperature, c, time.Hour, time.Hour)
			}
			b.hold("well-3", Temperature, 2, time.Hour, 12*time.Hour)
		},
		"a wild reading of such a probe": func(b *bench) {
			b.crash(14.4)
			b.hold("well-3", Temperature, 14.4, time.Hour, 24*time.Hour)
			b.read("well-3", Temperature, 12.2)
			b.pass(time.Hour)
			b.hold("well-3", Temperature, 14.4, time.Hour, 12*time.Hour)
		},
		"a wild reading just after a high one, of a probe that speaks every ten minutes": func(b *bench) {
			b.crash(14.4)
			for range 4 * 24 { // a thermostat that is known
				for _, c := range []float64{14.5, 14.6, 14.7, 14.6, 14.5, 14.4} {
					b.hold("well-3", Temperature, c, 10*time.Minute, 20*time.Minute)
				}
			}
			for _, c := range []float64{14.6, 14.6, 14.9, 15.6, 14.5, 14.5, 14.4, 14.5, 14.7, 14.6} {
				b.read("well-3", Temperature, c)
				b.pass(10 * time.Minute)
			}
		},
		"a wild reading of less than a kelvin, and one that is lost": func(b *bench) {
			b.crash(14.4)
			b.hold("well-3", Temperature, 14.4, 5*time.Minute, 2*time.Hour)
			b.hold("well-3", Temperature, 15, 5*time.Minute, 30*time.Minute)
			b.read("well-3", Temperature, 15.95)
			b.pass(10 * time.Minute)
			b.hold("well-3", Temperature, 15, 5*time.Minute, 30*time.Minute)
		},
		"the swing of a wide thermostat on the way down": func(b *bench) {
			b.hold("well-3", Temperature, 14.4, 5*time.Minute, time.Hour)
			b.crash(5.5)
			for c := 14.4; c > 6.2; c -= 0.1 {
				b.hold("well-3", Temperature, c, 5*time.Minute, 10*time.Minute)
			}
			for _, c := range []float64{6.2, 6.4, 6.6, 6.3, 6, 5.7, 5.5} {
				b.hold("well-3", Temperature, c, 5*time.Minute, 30*time.Minute)
			}
		},
		"a float in the warm layer, while the thermowell reads true": func(b *bench) {
			b.crash(14.4)
			for range 30 {
				b.read("hyd-1", Gravity, 1.0118)
				b.read("hyd-1", Temperature, 16.5)
				b.read("well-3", Temperature, 14.4)
				b.pass(10 * time.Minute)
			}
		},
		"caustic": func(b *bench) {
			b.crash(14.4)
			b.hold("well-3", Temperature, 14.4, 5*time.Minute, time.Hour)
			b.hold("well-3", Temperature, 80, 5*time.Minute, time.Hour)
		},
		"no setpoint": func(b *bench) { b.hold("well-3", Temperature, 26, 5*time.Minute, time.Hour) },
		"a rest that ends the crash": func(b *bench) {
			b.crash(14.4)
			b.hold("well-3", Temperature, 14.4, 5*time.Minute, time.Hour)
			b.log("rest", nil, nil)
			b.hold("well-3", Temperature, 18, 5*time.Minute, time.Hour)
		},
	}
	for name, play := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			play(b)
			assert.Empty(t, b.of(CrashDrift))
		})
	}
}

// Steam left on, or hot liquor in the jacket: the level of the last minutes trails behind, and is told all the same.
func TestBeerThatIsHeatedIsFound(t *testing.T) {
	for _, every := range []time.Duration{20 * time.Second, time.Minute, 5 * time.Minute, 10 * time.Minute, 20 * time.Minute, 30 * time.Minute} {
		for _, kelvin := range []float64{2, 5} { // an hour
			b := newBench(t, Settings{})
			b.crash(14.4)
			b.hold("well-3", Temperature, 14.4, every, 5*time.Hour)
			for c := 14.4; c < 14.4+2.5*kelvin; c += kelvin * every.Hours() {
				b.read("well-3", Temperature, c)
				b.pass(every)
			}
			assert.Equal(t, "+", b.of(CrashDrift), "%.0f K an hour, every %s", kelvin, every)
		}
	}
}

// A thermometer that speaks each hour, and of whose words one is missed, shows a door once: the next word tells.
func TestAMissedWordMakesNoDrift(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	b.hold("well-3", Temperature, 14.8, time.Hour, 24*time.Hour)
	b.pass(time.Hour)
	b.read("well-3", Temperature, 15.6)
	b.pass(time.Hour)
	b.hold("well-3", Temperature, 14.8, time.Hour, 4*time.Hour)
	assert.Empty(t, b.of(CrashDrift))
}

// Beer that passed its limit while nothing was heard is told as soon as it is heard again, and no door.
func TestBeerThatPassedItsLimitUnheardIsFound(t *testing.T) {
	for _, every := range []time.Duration{time.Minute, 5 * time.Minute, 20 * time.Minute} {
		b := newBench(t, Settings{})
		b.crash(14.4)
		b.hold("well-3", Temperature, 14.4, every, 20*time.Hour)
		b.pass(12 * time.Hour)
		again := b.now
		for c := 15.7; b.now.Before(again.Add(15*time.Minute + every)); c += 0.1 * every.Hours() {
			b.read("well-3", Temperature, c)
			b.pass(every)
		}
		assert.Equal(t, "+", b.of(CrashDrift), "every %s", every)
	}
}

// The colder beer is, the faster a hot room warms it: what shows a door in beer at 14 degC shows none near freezing.
func TestColdBeerWarmsFasterThanDoorsAreKnownBy(t *testing.T) {
	leaps := func(celsius, kelvinPerHour, liters float64) bool {
		d := drift{Ahead: heading{Noise: headingNoise}}
		for past := time.Duration(0); past <= 70*time.Minute; past += headingWidth {
			d.Ahead.Trail = append(d.Ahead.Trail, glance{sample: sample{At: began.Add(past), Value: celsius + kelvinPerHour*past.Hours()}})
		}
		newest := d.Ahead.Trail[len(d.Ahead.Trail)-1]
		return d.door(newest.Value, NewTank("FV3", Settings{BeerLiters: liters}).barestLag(), newest.At)
	}
	assert.True(t, leaps(14.4, 0.85, 0))
	assert.False(t, leaps(2.5, 0.85, 0))
	assert.True(t, leaps(2.5, 1.3, 0))
	assert.False(t, leaps(14.4, 0.5, 0))
	assert.True(t, leaps(14.4, 0.85, 8000), "a large tank may be as bare")
	assert.False(t, leaps(14.4, 0.85, 300), "a small one warms sooner")
}

// A door brings a thermometer in its well far up within minutes, and down again once it is shut. The beer hardly notices.
func TestADoorIsNoDrift(t *testing.T) {
	for _, open := range []time.Duration{10 * time.Minute, 20 * time.Minute, 40 * time.Minute} {
		// From the middle of a thermostat, and from its top; and by how much it warms the tube of the well
		for _, warms := range []struct{ from, kelvin float64 }{{14.5, 1.2}, {14.5, 2}, {14.5, 2.9}, {14.75, 0.85}} {
			for _, every := range []time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute} {
				b := newBench(t, Settings{})
				b.crash(14.4)
				b.hold("well-3", Temperature, warms.from, every, 24*time.Hour)
				over := 0.0
				for past := every; past < 3*time.Hour; past += every {
					toward := 0.0
					if past <= open {
						toward = 1
					}
					over += (toward - over) * (1 - math.Exp(-every.Minutes()/8))
					b.read("well-3", Temperature, warms.from+warms.kelvin*over)
					b.pass(every)
				}
				assert.Empty(t, b.of(CrashDrift), "%s, %+v K, each %s", open, warms, every)
			}
		}
	}
}

// A door opened while the beer is at the top of its thermostat brings the well past all of its tops and near the limit
// within two readings. What steps up so is not foretold, and where it passes the limit it has not had its wait.
func TestADoorAtTheTopOfAThermostatIsNotForetold(t *testing.T) {
	for _, every := range []time.Duration{4 * time.Minute, 11 * time.Minute, 14 * time.Minute} {
		for _, kelvin := range []float64{0.4, 0.6, 0.75} {
			b := newBench(t, Settings{})
			b.crash(14.4)
			thermostat := func(past time.Duration) float64 {
				return math.Round(100*(14.3+0.2*math.Sin(past.Hours()*2*math.Pi/3))) / 100
			}
			past := time.Duration(0)
			for ; past < 30*time.Hour+45*time.Minute; past += every {
				b.read("well-3", Temperature, thermostat(past))
				b.pass(every)
			}
			over := 0.0
			for open := time.Duration(0); open < 2*time.Hour; open += every {
				toward := 0.0
				if open < 25*time.Minute {
					toward = 1
				}
				over += (toward - over) * (1 - math.Exp(-every.Minutes()/6))
				b.read("well-3", Temperature, thermostat(past+open)+kelvin*over)
				b.pass(every)
			}
			assert.Empty(t, b.of(CrashDrift), "%.2f K, each %s", kelvin, every)
		}
	}
}

// A small tank with a bare thermometer may warm as fast as a door warms it: what tells them apart is that the door is shut.
func TestADoorThatIsShutIsForgottenBeforeItIsTold(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 300})
	b.crash(14.4)
	goes := func(through ...float64) {
		for _, c := range through {
			b.hold("well-3", Temperature, c, 2*time.Minute, 4*time.Minute)
		}
	}
	b.hold("well-3", Temperature, 14.8, 2*time.Minute, 4*time.Hour)
	goes(15.1, 15.3, 15.5, 15.7, 15.7, 15.5, 15.1, 15.0, 15.0, 15.0, 15.0, 15.0)
	require.Equal(t, "+-", b.of(CrashDrift))
	told, over := b.found[len(b.found)-2].Time, b.found[len(b.found)-1].Time
	assert.Less(t, over.Sub(told), 20*time.Minute, "nobody was called yet")

	b.hold("well-3", Temperature, 14.8, 2*time.Minute, 4*time.Hour)
	goes(15.1, 15.3, 15.5, 15.7, 15.7, 15.7, 15.7, 15.7, 15.7, 15.7, 15.7, 15.1, 15.0, 15.0, 15.0, 15.0)
	assert.Equal(t, "+-+", b.of(CrashDrift), "this one was told, and is not over yet")
}

// A thermometer that is off, or a wide thermostat: beer that has stood over half its allowance for hours is at its setpoint.
func TestBeerThatRestsHighIsWatched(t *testing.T) {
	for _, over := range []float64{0.3, 0.55, 0.9} {
		b := newBench(t, Settings{})
		b.crash(4)
		b.hold("well-3", Temperature, 4+over, 5*time.Minute, 24*time.Hour)
		for c := 4 + over; c < 5.7; c += 0.5 / 12 {
			b.read("well-3", Temperature, c)
			b.pass(5 * time.Minute)
		}
		require.NotEmpty(t, b.of(CrashDrift), "%.2f K over", over)
		assert.Contains(t, b.last(CrashDrift).Summary, "beer is warming", "%.2f K over", over)
	}
}

// Beer that its room warms up to a new setpoint comes there ever more slowly. What it passes is no top, nor is its thermometer
// low by what is missing yet; and where the room is too cool for it, that is no fault.
func TestBeerThatIsWarmedUpArrives(t *testing.T) {
	for _, test := range []struct {
		room, turned float64 // degC
		want         string
	}{
		{20.6, 20.2, ""},
		{19.2, 30, ""},
		{24, 30, "beer is warming"},
	} {
		b := newBench(t, Settings{})
		b.crash(14.4)
		b.hold("well-3", Temperature, 14.4, 5*time.Minute, 24*time.Hour)
		b.log("rest", map[string]float64{"setpoint": 19.6}, nil)
		celsius, cools := 14.4, false
		for end := b.now.Add(144 * time.Hour); b.now.Before(end); b.pass(10 * time.Minute) {
			if cools = celsius > test.turned || cools && celsius > 19.4; cools {
				celsius -= 0.05
			} else {
				celsius += (test.room - celsius) / 15 / 6
			}
			b.read("well-3", Temperature, math.Round(10*celsius)/10)
		}
		if test.want == "" {
			assert.Empty(t, b.of(CrashDrift), "a room of %.1f degC", test.room)
		} else if assert.NotEmpty(t, b.of(CrashDrift)) {
			assert.Contains(t, b.last(CrashDrift).Summary, test.want)
		}
	}
}

func TestCoolingThatStallsIsFound(t *testing.T) {
	b := newBench(t, Settings{})
	b.hold("well-3", Temperature, 19, 5*time.Minute, 30*time.Minute)
	b.crash(2)
	for c := 19.0; c > 9; c -= 0.1 {
		b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
	}
	b.hold("well-3", Temperature, 9, 5*time.Minute, 4*time.Hour)
	require.Equal(t, "+", b.of(CrashDrift))
	assert.Contains(t, b.last(CrashDrift).Summary, "stalled at 9.0 degC")
	b.hold("well-3", Temperature, 8.6, 5*time.Minute, time.Hour)
	require.Equal(t, "+", b.of(CrashDrift), "within the deadband")
	for c := 8.6; c > 2; c -= 0.1 {
		b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
	}
	assert.Equal(t, "+-", b.of(CrashDrift))
	assert.Regexp(t, `cooling again: beer at [78]\.\d degC, on its way to 2\.0 degC`, b.last(CrashDrift).Summary)
}

func TestColdBeerIsFoundToo(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	for c := 14.4; c > 12; c -= 0.1 {
		b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
	}
	assert.Contains(t, b.last(CrashDrift).Summary, "too cold")
}

// What a gauge kept while it was out of reach comes hours later, and is held against what the beer was then.
func TestTheTemperatureOfAMomentLongAgo(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	start := b.now
	for c := 16.0; c > 14.4; c -= 0.02 {
		b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
	}
	for _, test := range []struct {
		ago  time.Duration
		want float64
	}{{0, 14.4}, {time.Hour, 14.65}, {4 * time.Hour, 15.37}} {
		celsius, ok := b.tank.beerTemperature(b.now.Add(-test.ago))
		require.True(t, ok)
		assert.InDelta(t, test.want, celsius, 0.1, "%s ago", test.ago)
	}
	_, ok := b.tank.beerTemperature(start.Add(-time.Minute))
	assert.False(t, ok, "before anything was heard")
}

// A setpoint may be logged before any thermometer is heard: then beer begins where it is first heard, and not at 0 degC.
func TestBeerBeginsWhereItIsFirstHeard(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.crash(14.4)
	b.hold("well-3", Temperature, 14.0, 5*time.Minute, 5*time.Hour)
	b.hold("well-3", Temperature, 11.0, 5*time.Minute, time.Hour)
	assert.Equal(t, "+", b.of(CrashDrift), "too cold")

	b = newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.crash(2)
	b.hold("well-3", Temperature, 19, 5*time.Minute, time.Hour)
	b.hold("well-3", Temperature, 12, 5*time.Minute, time.Hour)
	assert.True(t, b.tank.cooling())
}

// A climb that was foretold and turned is over like any other: what comes next is not held against it, as after a door.
func TestAClimbThatTurnedIsForgotten(t *testing.T) {
	for name, tt := range map[string]struct {
		falls float64 // K an hour
		want  side
	}{"turned": {0.4, within}, "goes on": {0, climbing}} {
		d := drift{Side: climbing, WarmAt: began, Warmest: 15}
		for i := range 24 {
			at := began.Add(time.Duration(i) * 5 * time.Minute)
			d.Ahead.Trail = append(d.Ahead.Trail, glance{sample: sample{At: at, Value: 15 - tt.falls*at.Sub(began).Hours()}})
		}
		assert.Equal(t, tt.want, d.climbs(25, 14, 0, began.Add(2*time.Hour)), name)
		assert.Equal(t, tt.want == within, d.WarmAt.IsZero(), name)
	}
}
