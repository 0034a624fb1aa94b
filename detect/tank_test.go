package detect

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// began is when the scripted tanks of these tests begin, a Monday.
var began = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// bench holds a tank and the readings a test gives it.
type bench struct {
	t     *testing.T
	tank  *Tank
	now   time.Time
	found []Finding
}

func newBench(t *testing.T, s Settings) *bench {
	t.Helper()
	return &bench{t: t, tank: NewTank("FV3", s), now: began}
}

// pass lets time go by, ticking each minute.
func (b *bench) pass(d time.Duration) {
	for end := b.now.Add(d); b.now.Before(end); {
		b.now = b.now.Add(time.Minute)
		b.found = append(b.found, b.tank.Tick(b.now)...)
	}
}

// read gives one reading, measured and heard now.
func (b *bench) read(probe string, q Quantity, value float64) {
	b.found = append(b.found, b.tank.Take(Reading{
		Tank: "FV3", Probe: probe, Quantity: q, Time: b.now, Arrived: b.now, Value: value, Raw: value,
	})...)
}

// log writes a line of the cellar log, now.
func (b *bench) log(name string, amounts map[string]float64, words map[string]string) {
	b.found = append(b.found, b.tank.Log(Event{
		Tank: "FV3", Name: name, Time: b.now, Arrived: b.now, Amounts: amounts, Words: words,
	})...)
}

func (b *bench) crash(setpoint float64) {
	b.log("crash", map[string]float64{"setpoint": setpoint}, nil)
}

// hold reads a value every so often for a time.
func (b *bench) hold(probe string, q Quantity, value float64, every, length time.Duration) {
	for end := b.now.Add(length); b.now.Before(end); {
		b.read(probe, q, value)
		b.pass(every)
	}
}

// of lists the findings of one alarm, "+" where it begins, "-" where it ends.
func (b *bench) of(a Alarm) string {
	out := ""
	for _, f := range b.found {
		if f.Alarm != a {
			continue
		}
		if f.Active {
			out += "+"
		} else {
			out += "-"
		}
	}
	return out
}

// last is the newest finding of an alarm.
func (b *bench) last(a Alarm) Finding {
	b.t.Helper()
	for i := len(b.found) - 1; i >= 0; i-- {
		if b.found[i].Alarm == a {
			return b.found[i]
		}
	}
	b.t.Fatalf("no finding of %s", a)
	return Finding{}
}

func TestBeerThatWarmsIsFoundAndEnds(t *testing.T) {
	b := newBench(t, Settings{Display: Display{Temperature: "degF"}})
	b.crash(14.4)
	for _, c := range []float64{14.4, 14.9, 15.3} {
		b.hold("well-3", Temperature, c, 5*time.Minute, 10*time.Minute)
	}
	require.Empty(t, b.of(CrashDrift))
	b.hold("well-3", Temperature, 15.6, 5*time.Minute, 10*time.Minute)
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
		"a tank on its way down": func(b *bench) {
			b.hold("well-3", Temperature, 19, 5*time.Minute, time.Hour)
			b.crash(14.4)
			for c := 19.0; c > 14.4; c -= 0.05 {
				b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
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

func TestCoolingThatStallsIsFound(t *testing.T) {
	b := newBench(t, Settings{})
	b.hold("well-3", Temperature, 19, 5*time.Minute, 30*time.Minute)
	b.crash(2)
	for c := 19.0; c > 9; c -= 0.1 {
		b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
	}
	b.hold("well-3", Temperature, 9, 5*time.Minute, 3*time.Hour)
	require.Equal(t, "+", b.of(CrashDrift))
	assert.Contains(t, b.last(CrashDrift).Summary, "stalled at 9.0 degC")
	for c := 9.0; c > 2; c -= 0.1 {
		b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
	}
	assert.Equal(t, "+-", b.of(CrashDrift))
}

func TestColdBeerIsFoundToo(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	for c := 14.4; c > 12; c -= 0.1 {
		b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
	}
	assert.Contains(t, b.last(CrashDrift).Summary, "too cold")
}

func TestHeadPressureAgainstTheRelief(t *testing.T) {
	tests := map[string]struct {
		settings Settings
		play     func(*bench)
		want     string
	}{
		"at nine tenths": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.hold("head-3", Pressure, 85, time.Minute, 20*time.Minute)
			b.hold("head-3", Pressure, 90.2, time.Minute, 5*time.Minute)
		}, "+"},
		"and back, past the deadband": {Settings{ReliefKPa: 100}, func(b *bench) {
			for _, p := range []float64{88, 91, 87, 84, 81, 79.5} {
				b.hold("head-3", Pressure, p, time.Minute, 3*time.Minute)
			}
		}, "+-"},
		"under a valve that holds that much": {Settings{ReliefKPa: 103}, func(b *bench) {
			b.log("vent", map[string]float64{"pressure": 93}, nil)
			b.hold("head-3", Pressure, 93.4, time.Minute, 3*time.Hour)
		}, ""},
		"past that valve": {Settings{ReliefKPa: 103}, func(b *bench) {
			b.log("vent", map[string]float64{"pressure": 93}, nil)
			for p := 93.0; p < 98; p += 0.5 {
				b.hold("head-3", Pressure, p, time.Minute, 10*time.Minute)
			}
		}, "+"},
		"on its way there within the hour": {Settings{ReliefKPa: 100}, func(b *bench) {
			for p := 30.0; p < 80; p += 0.5 {
				b.hold("head-3", Pressure, p, time.Minute, time.Minute)
			}
		}, "+"},
		"a top-up by hand is no trend": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.hold("head-3", Pressure, 55, time.Minute, 2*time.Hour)
			for p := 55.0; p < 80; p += 5 {
				b.hold("head-3", Pressure, p, time.Minute, time.Minute)
			}
			b.hold("head-3", Pressure, 80, time.Minute, 2*time.Hour)
		}, ""},
		"not given": {Settings{}, func(b *bench) {
			b.hold("head-3", Pressure, 300, time.Minute, time.Hour)
		}, ""},
		"a probe at the bottom reads the beer too": {Settings{ReliefKPa: 100, At: map[string]Place{"foot-3": Bottom}}, func(b *bench) {
			b.hold("foot-3", Pressure, 96, time.Minute, time.Hour)
		}, ""},
		"an empty tank is watched as well": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.log("empty", nil, nil)
			b.hold("head-3", Pressure, 95, time.Minute, 5*time.Minute)
		}, "+"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, tt.settings)
			tt.play(b)
			assert.Equal(t, tt.want, b.of(OverPressure))
		})
	}
}

func TestAboveItsSettingTheReliefMayBeBlocked(t *testing.T) {
	b := newBench(t, Settings{ReliefKPa: 100})
	b.hold("head-3", Pressure, 104, time.Minute, 5*time.Minute)
	assert.Contains(t, b.last(OverPressure).Summary, "may be blocked")
}

func TestVacuum(t *testing.T) {
	cooling := func(b *bench, from, to, perHour float64) {
		for p := from; p > to; p -= perHour / 60 {
			b.hold("head-3", Pressure, p, time.Minute, time.Minute)
		}
	}
	tests := map[string]struct {
		play func(*bench)
		want string
	}{
		"a closed tank that cools, before it gets there": {func(b *bench) {
			b.read("well-3", Temperature, 14.4)
			b.crash(2)
			for c, p := 14.4, 20.0; p > 2; c, p = c-0.02, p-4.0/60 {
				b.read("well-3", Temperature, c)
				b.hold("head-3", Pressure, p, time.Minute, time.Minute)
			}
		}, "+"},
		"closed at little pressure, when its cooling is logged": {func(b *bench) {
			b.log("seal", nil, nil)
			for range 13 * 12 {
				b.read("well-3", Temperature, 14.4)
				b.hold("head-3", Pressure, 20, 5*time.Minute, 5*time.Minute)
			}
			b.crash(2)
			b.hold("head-3", Pressure, 20, time.Minute, time.Hour)
		}, "+"},
		"and with enough on it": {func(b *bench) {
			b.log("seal", nil, nil)
			for range 13 * 12 {
				b.read("well-3", Temperature, 14.4)
				b.hold("head-3", Pressure, 80, 5*time.Minute, 5*time.Minute)
			}
			b.crash(2)
			b.hold("head-3", Pressure, 80, time.Minute, time.Hour)
		}, ""},
		"below the atmosphere": {func(b *bench) {
			b.hold("head-3", Pressure, 0.2, time.Minute, 10*time.Minute)
			b.hold("head-3", Pressure, -3, time.Minute, 10*time.Minute)
		}, "+"},
		"an open tank whose gauge reads a little low": {func(b *bench) {
			b.log("vent", nil, nil)
			b.hold("head-3", Pressure, -1.4, time.Minute, 24*time.Hour)
		}, ""},
		"the weather on a gauge closed at the factory": {func(b *bench) {
			b.hold("head-3", Pressure, 0, time.Minute, 6*time.Hour)
			cooling(b, 0, -2.5, 0.1)
		}, ""},
		"blown down for the hops": {func(b *bench) {
			b.hold("head-3", Pressure, 80, time.Minute, 2*time.Hour)
			cooling(b, 80, 0, 1200)
			b.hold("head-3", Pressure, 0, time.Minute, time.Hour)
		}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			tt.play(b)
			assert.Equal(t, tt.want, b.of(Vacuum))
		})
	}
}

func TestASilentProbeIsFoundByItsOwnHabit(t *testing.T) {
	b := newBench(t, Settings{})
	b.hold("hyd-1", Gravity, 1.0118, 10*time.Minute, 2*time.Hour)
	b.pass(35 * time.Minute)
	require.Empty(t, b.of(ProbeSilent), "45 minutes are always allowed")
	b.pass(time.Minute)
	require.Equal(t, "+", b.of(ProbeSilent))
	f := b.last(ProbeSilent)
	assert.Equal(t, "hyd-1", f.Probe)
	assert.Contains(t, f.Summary, "usually speaks every 10 min")
	b.pass(5 * time.Hour)
	require.Equal(t, "+", b.of(ProbeSilent), "told once")
	b.read("hyd-1", Gravity, 1.0118)
	assert.Equal(t, "+-", b.of(ProbeSilent))
}

func TestSilenceThatIsNobodysFault(t *testing.T) {
	tests := map[string]func(*bench){
		"spile was away": func(b *bench) {
			from := b.now
			b.now = b.now.Add(10 * time.Hour)
			b.tank.Away(from, b.now)
			b.pass(20 * time.Minute)
		},
		"taken out for cleaning": func(b *bench) {
			b.log("probe", nil, map[string]string{"id": "hyd-1", "state": "out"})
			b.pass(10 * time.Hour)
		},
		"it sends late and out of order, but it sends": func(b *bench) {
			for range 20 {
				b.now = b.now.Add(10 * time.Minute)
				b.found = append(b.found, b.tank.Take(Reading{
					Probe: "hyd-1", Quantity: Gravity, Time: b.now.Add(-9 * time.Hour), Arrived: b.now, Value: 1.0118, Late: true,
				})...)
				b.found = append(b.found, b.tank.Tick(b.now)...)
			}
		},
	}
	for name, play := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			b.hold("hyd-1", Gravity, 1.0118, 10*time.Minute, 2*time.Hour)
			play(b)
			assert.Empty(t, b.of(ProbeSilent))
		})
	}
}

func TestAnHourlyProbeMaySpeakHourly(t *testing.T) {
	b := newBench(t, Settings{})
	b.hold("hyd-1", Gravity, 1.0118, time.Hour, 24*time.Hour)
	b.pass(100 * time.Minute)
	assert.Empty(t, b.of(ProbeSilent))
	b.pass(60 * time.Minute)
	assert.Equal(t, "+", b.of(ProbeSilent))
}

func TestTheLogMakesTheTankWhatItIs(t *testing.T) {
	type line struct {
		name    string
		amounts map[string]float64
		words   map[string]string
	}
	tests := map[string]struct {
		lines []line
		check func(*testing.T, Status)
	}{
		"closed":              {[]line{{name: "seal"}}, func(t *testing.T, s Status) { assert.Equal(t, GasClosed, s.Gas) }},
		"blown down":          {[]line{{name: "vent"}}, func(t *testing.T, s Status) { assert.Equal(t, GasOpen, s.Gas) }},
		"spunded":             {[]line{{name: "vent", amounts: map[string]float64{"pressure": 83}}}, func(t *testing.T, s Status) { assert.Equal(t, GasHeldAbove, s.Gas) }},
		"gas left on":         {[]line{{name: "gas", amounts: map[string]float64{"hold": 83}}}, func(t *testing.T, s Status) { assert.Equal(t, GasHeldBelow, s.Gas) }},
		"gas taken off again": {[]line{{name: "gas", amounts: map[string]float64{"hold": 83}}, {name: "gas", words: map[string]string{"hold": "off"}}}, func(t *testing.T, s Status) { assert.Equal(t, GasClosed, s.Gas) }},
		"a crash":             {[]line{{name: "crash", amounts: map[string]float64{"setpoint": 14.4}}}, func(t *testing.T, s Status) { assert.InDelta(t, 14.4, *s.SetpointCelsius, 0) }},
		"a rest cancels it":   {[]line{{name: "crash", amounts: map[string]float64{"setpoint": 14.4}}, {name: "rest"}}, func(t *testing.T, s Status) { assert.Nil(t, s.SetpointCelsius) }},
		"cold hops":           {[]line{{name: "dry-hop"}}, func(t *testing.T, s Status) { assert.Equal(t, began, s.HoppedSince) }},
		"hops during fermentation start no clock": {[]line{{name: "dry-hop", words: map[string]string{"kind": "active"}}}, func(t *testing.T, s Status) { assert.Zero(t, s.HoppedSince) }},
		"hops taken off": {[]line{{name: "dry-hop"}, {name: "hops-off"}}, func(t *testing.T, s Status) { assert.Zero(t, s.HoppedSince) }},
		"hands on":       {[]line{{name: "work", amounts: map[string]float64{"for": 2}}}, func(t *testing.T, s Status) { assert.Equal(t, began.Add(2*time.Hour), s.HandsOnUntil) }},
		"empty":          {[]line{{name: "empty"}}, func(t *testing.T, s Status) { assert.True(t, s.Empty) }},
		"packaged whole": {[]line{{name: "package"}}, func(t *testing.T, s Status) { assert.True(t, s.Empty) }},
		"packaged in part": {[]line{{name: "package", amounts: map[string]float64{"volume": 500}}}, func(t *testing.T, s Status) {
			assert.False(t, s.Empty)
			assert.Equal(t, began.Add(transferTime), s.HandsOnUntil)
		}},
		"a new batch": {[]line{{name: "empty"}, {name: "pitch", amounts: map[string]float64{"setpoint": 19}}}, func(t *testing.T, s Status) {
			assert.False(t, s.Empty)
			assert.InDelta(t, 19, *s.SetpointCelsius, 0)
		}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			for _, l := range tt.lines {
				b.log(l.name, l.amounts, l.words)
			}
			tt.check(t, b.tank.Status())
		})
	}
}

func TestWhatCannotBeJudgedYetIsSaid(t *testing.T) {
	b := newBench(t, Settings{})
	b.read("head-3", Pressure, 80)
	b.read("hyd-1", Gravity, 1.0118)
	said := fmt.Sprint(b.tank.Status().Learning)
	assert.Contains(t, said, "head-3: pressure cannot be judged without a beer temperature")
	assert.Contains(t, said, "learning the noise of hyd-1, 10 h to go")
	assert.Contains(t, said, "refermentation: waiting for a logged crash")
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
		"under a valve":         {0.4, "spund", ""},
		"with CO2 left on":      {0.4, "gas", ""},
		"blown down in a trice": {400, "seal", ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			switch tt.gas {
			case "spund":
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
		})
	}
}

func TestBeerNearItsFreezingPoint(t *testing.T) {
	cool := func(b *bench, to float64) {
		for c := 2.0; c > to; c -= 0.1 {
			b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
		}
	}
	tests := map[string]struct {
		play func(*bench)
		want string
	}{
		"of an unknown beer":            {func(b *bench) { cool(b, -0.9) }, "+"},
		"and warm enough":               {func(b *bench) { cool(b, 0) }, ""},
		"held that cold on purpose":     {func(b *bench) { b.crash(-1); cool(b, -1.3) }, ""},
		"and running on from there":     {func(b *bench) { b.crash(-1); cool(b, -1.7) }, "+"},
		"away again, past the deadband": {func(b *bench) { cool(b, -0.9); b.hold("well-3", Temperature, -0.1, 5*time.Minute, 10*time.Minute) }, "+-"},
		// OG 1.100, 1.020: some 8.6 % w/w, so that -0.9 degC is far from ice.
		"of a strong beer": {func(b *bench) {
			b.log("pitch", map[string]float64{"gravity": 1.100}, nil)
			b.read("hyd-1", Gravity, 1.020)
			cool(b, -0.9)
		}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			tt.play(b)
			assert.Equal(t, tt.want, b.of(FreezeRisk))
		})
	}
}

func TestPastTheReliefSettingItIsToldAgain(t *testing.T) {
	b := newBench(t, Settings{ReliefKPa: 100})
	for p := 88.0; p < 104; p += 0.5 {
		b.hold("head-3", Pressure, p, time.Minute, 3*time.Minute)
	}
	require.Equal(t, "++", b.of(OverPressure))
	f := b.last(OverPressure)
	assert.True(t, f.Worse)
	assert.Contains(t, f.Summary, "above the relief setting")
}
