package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

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
		"and it stands until there is pressure on it, days later": {func(b *bench) {
			crashedToNothing(b)
			for range 4 * 24 * 4 {
				b.read("well-3", Temperature, 6)
				b.hold("head-3", Pressure, 1, 5*time.Minute, 15*time.Minute)
			}
		}, "+"},
		"and whatever the weather does to its gauge meanwhile": {func(b *bench) {
			crashedToNothing(b)
			for i := range 4 * 24 * 4 {
				b.read("well-3", Temperature, 6)
				b.hold("head-3", Pressure, 4+2.5*math.Sin(2*math.Pi*float64(i)/400), 5*time.Minute, 15*time.Minute)
			}
		}, "+"},
		"but not once there is": {func(b *bench) {
			crashedToNothing(b)
			b.hold("head-3", Pressure, 12, 5*time.Minute, time.Hour)
		}, "+-"},
		"beer that comes back to its setpoint, under the weather": {func(b *bench) { warmedAndCooled(b, 14.4) }, ""},
		"the same that goes on cooling, as nobody logged":         {func(b *bench) { warmedAndCooled(b, 13) }, "+"},
		"cooling that ends a little over the air": {func(b *bench) {
			cooledTo(b, 6, 5)
			swings(b, 6, 6, 5, 2.3, 9*time.Hour)
			b.both(6, 2.3, 5*time.Minute, 12*time.Hour)
		}, ""},
		"a thermostat's cycle at little pressure": {func(b *bench) { cycles(b, 2.4, 0.3, 0.1, 2*time.Hour) }, ""},
		"and a little over the air":               {func(b *bench) { cycles(b, 3.4, 1.3, 0.6, 75*time.Minute) }, ""},
		"the same where the setpoint was logged a day and a half ago": {func(b *bench) {
			cooledTo(b, 5, 4)
			for range 6 {
				swings(b, 5, 5.6, 4, 4.6, 3*time.Hour)
				swings(b, 5.6, 5, 4.6, 3.6, time.Hour)
				swings(b, 5, 5, 3.6, 4, time.Hour)
			}
			swings(b, 5, 5.6, 4, 4.6, 3*time.Hour)
			swings(b, 5.6, 5, 4.6, 2.9, 75*time.Minute)
			swings(b, 5, 5, 2.9, 4, 2*time.Hour)
		}, ""},
		"and beer that came a long way back to it, and drinks on": {func(b *bench) {
			cooledTo(b, 5, 4)
			swings(b, 5, 5, 4, 4.2, 14*time.Hour)
			swings(b, 5, 8.5, 4.2, 7, 10*time.Hour)
			b.both(8.5, 7, 5*time.Minute, 8*time.Hour)
			swings(b, 8.5, 5.2, 7, 5, 90*time.Minute)
			swings(b, 5.2, 5, 5, 3.4, 65*time.Minute)
		}, "++"},
		"beer whose cooling came back, and that still drinks": {func(b *bench) {
			cooledTo(b, 4.7, 7)
			b.both(4.7, 7, 5*time.Minute, cooledLately)
			swings(b, 4.7, 18, 7, 43, 40*time.Hour)
			swings(b, 18, 4.7, 43, 9, 10*time.Hour)
			swings(b, 4.7, 4.7, 9, 4, 3*time.Hour)
			swings(b, 4.7, 4.7, 4, 0.3, 4*time.Hour)
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
		"a lone wild reading": {func(b *bench) {
			b.hold("head-3", Pressure, 1, time.Minute, time.Hour)
			b.read("head-3", Pressure, -2.8)
			b.pass(time.Minute)
			b.hold("head-3", Pressure, 1, time.Minute, time.Hour)
		}, ""},
		"an open tank whose gauge reads a little low": {func(b *bench) {
			b.log("vent", nil, nil)
			b.hold("head-3", Pressure, -1.4, time.Minute, 24*time.Hour)
		}, ""},
		"and a factory-closed one in low weather": {func(b *bench) {
			b.hold("head-3", Pressure, 40, time.Minute, time.Hour)
			b.log("vent", nil, nil)
			b.hold("head-3", Pressure, -6, time.Minute, 2*time.Hour)
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

// crashedToNothing has a closed tank cooled to 6 degC, and its pressure to 1 kPa.
func crashedToNothing(b *bench) {
	b.log("seal", nil, nil)
	b.read("well-3", Temperature, 14.4)
	b.crash(6)
	for c, p := 14.4, 30.0; p > 1; c, p = max(6, c-0.02), p-4.0/60 {
		b.read("well-3", Temperature, c)
		b.hold("head-3", Pressure, p, time.Minute, time.Minute)
	}
}

// cooledTo has a closed tank cooled so far within some ten hours, and its pressure come to so many kPa.
func cooledTo(b *bench, celsius, kPa float64) {
	b.log("seal", nil, nil)
	b.both(14.4, 40, 5*time.Minute, 5*time.Minute)
	b.crash(celsius)
	swings(b, 14.4, celsius, 40, kPa, 10*time.Hour)
}

// cycles has a thermostat turn beer that rests at 15 degC, days after that was logged: pressure stands at a top, comes down
// with the beer, drinks on for a time, and is back at its top.
func cycles(b *bench, top, low, least float64, drinks time.Duration) {
	rests := top - 0.2
	b.log("seal", nil, nil)
	b.crash(15)
	b.both(15, rests, 5*time.Minute, cooledLately)
	swings(b, 15, 15.8, rests, top, 12*time.Hour)
	swings(b, 15.8, 14.6, top, low, 90*time.Minute)
	swings(b, 14.6, 14.6, low, least, drinks)
	swings(b, 14.6, 15.8, least, top, 6*time.Hour)
}

// swings takes beer and head pressure in straight lines from one value to another.
func swings(b *bench, from, to, before, after float64, length time.Duration) {
	const every = 5 * time.Minute
	for past := time.Duration(0); past < length; past += every {
		share := float64(past) / float64(length)
		b.both(from+share*(to-from), before+share*(after-before), every, every)
	}
}

// warmedAndCooled has the cooling of a tank of little pressure fail, days after its setpoint was logged, and come back to
// cool the beer down to so many degC.
func warmedAndCooled(b *bench, to float64) {
	b.log("seal", nil, nil)
	b.crash(14.4)
	beer := func(celsius, kPa float64, length time.Duration) {
		for start := b.now; b.now.Before(start.Add(length)); {
			b.read("well-3", Temperature, celsius)
			b.hold("head-3", Pressure, kPa, 5*time.Minute, 15*time.Minute)
		}
	}
	beer(14.4, 2.4, cooledLately)
	beer(17, 2.4, 24*time.Hour)
	for celsius := 17.0; celsius > to; celsius -= 0.1 {
		beer(celsius, 2.4, 15*time.Minute)
	}
	b.hold("head-3", Pressure, -1.4, 5*time.Minute, 10*time.Minute)
}

// A gauge that speaks once an hour gives two readings' notice, or none: by them the call must come.
func TestAVacuumIsSeenComingByAGaugeThatSeldomSpeaks(t *testing.T) {
	b := newBench(t, Settings{Sealed: true})
	b.both(14.4, 48, time.Hour, 24*time.Hour)
	b.crash(2)
	celsius, kPa := 14.4, 48.0
	for kPa > 0 && b.of(Vacuum) == "" {
		celsius, kPa = celsius-1.6, kPa-6
		b.both(celsius, kPa, time.Hour, time.Hour)
	}
	assert.Greater(t, kPa, 0.0)
	assert.Contains(t, b.last(Vacuum).Summary, "falling 6.0 kPa an hour")
}

// What stands at the air's pressure and is about to be cooled takes air in or is pulled below it: a word beforehand.
func TestCoolingATankWithoutPressureIsAskedAbout(t *testing.T) {
	b := blown(t, 0.3, 5*time.Minute)
	b.crash(2)
	f := b.last(Vacuum)
	assert.Equal(t, Low, f.Priority)
	assert.Contains(t, f.Summary, "Put CO2 on first")
}

// A tank that was closed at little pressure and is cooled far within hours ends below the air, though gas comes back into its
// head space. With more pressure on it, or cooled by little, that gas may be enough.
func TestTheEndOfATankThatWasJustClosedIsForeseen(t *testing.T) {
	for name, c := range map[string]struct {
		before   float64
		kPa      float64
		closed   time.Duration
		setpoint float64
		want     Priority
	}{
		"closed an hour ago":       {40, 7.4, time.Hour, 2, High},
		"over beer with gas in it": {95, 7.4, time.Hour, 2, Low},
		"a day ago":                {95, 7.4, 24 * time.Hour, 2, High},
		"with pressure on it":      {40, 20, time.Hour, 2, "none"},
		"cooled by little":         {40, 7.4, time.Hour, 12.5, "none"},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{Sealed: true})
			b.both(14.4, c.before, 5*time.Minute, 24*time.Hour)
			b.both(14.4, c.kPa, 5*time.Minute, time.Hour)
			b.log("seal", nil, nil)
			b.both(14.4, c.kPa, 5*time.Minute, c.closed)
			b.crash(c.setpoint)
			got := Priority("none")
			if b.of(Vacuum) != "" {
				got = b.last(Vacuum).Priority
			}
			assert.Equal(t, c.want, got)
		})
	}
}

// Beer that is cold drinks on for as long as its exchange lags: a fall that goes on is told an hour before it is through,
// though cooling itself has no more to go.
func TestAVacuumThatTheExchangeBringsIsToldAnHourAhead(t *testing.T) {
	b := newBench(t, Settings{Sealed: true})
	cooledTo(b, 2.6, 12)
	const fall = 2.9 // kPa/h
	for kPa := 12.0; kPa > 0 && b.of(Vacuum) == ""; kPa -= fall / 12 {
		b.both(2.6, kPa, 5*time.Minute, 5*time.Minute)
	}
	require.Equal(t, "+", b.of(Vacuum))
	assert.Greater(t, *b.last(Vacuum).Evidence.PressureKPa, fall)
}

// A gauge that read low is taken out: the zero was its own.
func TestAnotherGaugeHasItsOwnZero(t *testing.T) {
	b := blown(t, -4.5, 2*time.Minute)
	b.log("seal", nil, nil)
	b.log("probe", nil, map[string]string{"id": "head-3", "state": "out"})
	read := func(kPa float64) {
		b.read("well-3", Temperature, 14.4)
		b.read("head-new", Pressure, kPa)
		b.pass(2 * time.Minute)
	}
	for range 22 * 30 {
		read(0.1)
	}
	require.Empty(t, b.of(Vacuum))
	for kPa := 0.0; kPa > -4; kPa -= 0.4 { // yeast is drawn, and nothing let in
		read(kPa)
	}
	for range 30 {
		read(-4)
	}
	assert.Equal(t, "+", b.of(Vacuum))
}

// Air that went into the head while it was open for hops does not go into beer: over 40 kPa of it a cooling ends some 13 kPa
// higher. Where that decides, the setpoint draws a word, and the alarm comes with the fall.
func TestAirInTheHeadMayPreventAVacuumThatIsForeseen(t *testing.T) {
	b := newBench(t, Settings{Sealed: true, BeerLiters: 3277, HeadspaceLiters: 150})
	b.both(15.6, 43.6, 5*time.Minute, 24*time.Hour)
	b.crash(2)
	f := b.last(Vacuum)
	assert.Equal(t, Low, f.Priority)
	assert.Contains(t, f.Summary, "unless much of its gas is air")
	for share := 0.0; share < 1 && b.of(Vacuum) == "+"; share += 1.0 / (15 * 12) {
		b.both(15.6-share*13.6, 43.6-share*51.6, 5*time.Minute, 5*time.Minute)
	}
	require.Equal(t, "++", b.of(Vacuum))
	f = b.last(Vacuum)
	assert.Empty(t, f.Priority, "as urgent as any vacuum")
	assert.Greater(t, *f.Evidence.PressureKPa, 2.0)
}

// A gauge that shows 2.5 kPa over an open tank shows more than there is once that is closed and cooled: at 2.2 kPa it may be
// through.
func TestAGaugeThatReadsHighInAnOpenTankIsNotBelievedNearTheAir(t *testing.T) {
	for name, c := range map[string]struct {
		open float64
		want string
	}{"reads high": {2.5, "+"}, "reads right": {0.1, ""}} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{Sealed: true})
			b.both(14.4, 40, 5*time.Minute, 24*time.Hour)
			b.log("vent", nil, nil)
			b.both(14.4, c.open, 5*time.Minute, time.Hour)
			b.log("seal", nil, nil)
			swings(b, 14.4, 14.4, 3, 30, 3*time.Hour)
			b.crash(2)
			swings(b, 14.4, 2, 30, 6, 12*time.Hour)
			swings(b, 2, 2, 6, 2.2, 10*time.Hour)
			assert.Equal(t, c.want, b.of(Vacuum))
		})
	}
}
