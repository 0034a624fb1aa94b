package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// blown is a tank that was just blown down to what its gauge shows of the air.
func blown(t *testing.T, air float64, every time.Duration) *bench {
	b := newBench(t, Settings{Sealed: true})
	b.both(14.4, 40, every, 12*time.Hour)
	b.both(14.4, air, every, time.Hour)
	require.True(t, b.tank.state.Head.Blown)
	return b
}

// both reads beer temperature and head pressure every so often for a time.
func (b *bench) both(celsius, kPa float64, every, length time.Duration) {
	for end := b.now.Add(length); b.now.Before(end); {
		b.read("well-3", Temperature, celsius)
		b.read("head-3", Pressure, kPa)
		b.pass(every)
	}
}

// High up and in low weather, a gauge that was closed at the factory shows less than nothing: no vacuum.
func TestABlowDownIsNoVacuum(t *testing.T) {
	for _, every := range []time.Duration{time.Minute, 10 * time.Minute} {
		b := blown(t, -4, every)
		b.both(14.4, -4.3, every, 12*time.Hour)
		assert.Empty(t, b.of(Vacuum), every)
	}
}

// A tank that is closed again and cooled falls below the air, whether anybody wrote the closing down or not.
func TestATankThatWasClosedIsWatchedAgain(t *testing.T) {
	for name, closing := range map[string]func(*bench){
		"logged": func(b *bench) { b.log("seal", nil, nil) },
		"seen: gas comes back": func(b *bench) {
			for kPa := 0.0; kPa < 4; kPa += 0.25 {
				b.both(14.4, kPa, 5*time.Minute, 15*time.Minute)
			}
		},
		"seen: it falls as it cools": func(*bench) {},
	} {
		t.Run(name, func(t *testing.T) {
			b := blown(t, 0, 5*time.Minute)
			closing(b)
			celsius, kPa := 14.4, b.tank.state.Last[Pressure].Value
			b.crash(2)
			for kPa > -4 {
				celsius, kPa = celsius-0.1, kPa-0.15
				b.both(celsius, kPa, 5*time.Minute, 5*time.Minute)
			}
			f := b.last(Vacuum)
			assert.True(t, f.Active)
			assert.Empty(t, f.Priority, "critical, as the catalogue has it")
			assert.False(t, b.tank.state.Head.Blown)
		})
	}
}

// The weather on an open tank's gauge is no closing.
func TestWeatherClosesNoTank(t *testing.T) {
	b := blown(t, 0, 10*time.Minute)
	for _, kPa := range []float64{0.4, 0.9, 1.2, 0.8, 0.1, -0.6, -1.3, -1.5} {
		b.both(14.4, kPa, 10*time.Minute, 3*time.Hour)
	}
	assert.True(t, b.tank.state.Head.Blown)
	assert.Empty(t, b.of(Vacuum))
}

// Closed again, it reads for a moment what it read of the air.
func TestATankThatIsClosedAgainIsNoVacuum(t *testing.T) {
	b := blown(t, -4.8, time.Minute)
	b.log("seal", nil, nil)
	b.both(14.4, -4.6, time.Minute, 5*time.Minute)
	b.both(14.4, 12, time.Minute, time.Hour)
	assert.Empty(t, b.of(Vacuum))
}

// A tank of little pressure that is opened falls too little to be seen as blown down. What its gauge then shows below nothing
// is what it showed of the air the last time; more than that is a vacuum, as when yeast is dumped from a closed tank.
func TestATankOfLittlePressureThatIsOpenedIsNoVacuum(t *testing.T) {
	for name, c := range map[string]struct {
		air, lowest float64
		want        string
	}{
		"its gauge read as little of the air before":    {-2.4, -2.8, ""},
		"its gauge read right":                          {0, -2.8, "+"},
		"far below that":                                {-2.4, -5.2, "+"},
		"what it reads of the air is no excuse for all": {-4.8, -5.8, "+"},
	} {
		t.Run(name, func(t *testing.T) {
			b := blown(t, c.air, 2*time.Minute)
			b.log("seal", nil, nil)
			b.both(14.4, 0.1, 2*time.Minute, 48*time.Hour)
			b.both(14.4, c.lowest, 2*time.Minute, 2*time.Hour)
			assert.Equal(t, c.want, b.of(Vacuum))
		})
	}
}

// What a gauge shows of the air just before a tank is closed is its zero, however short it stood open.
func TestAClosingShowsTheGaugesZero(t *testing.T) {
	b := newBench(t, Settings{Sealed: true})
	b.both(14.4, 25, time.Minute, 12*time.Hour)
	b.both(14.4, -3.6, time.Minute, 12*time.Minute)
	b.log("seal", nil, nil)
	swings(b, 14.4, 14.4, -3.4, 8, 2*time.Hour)
	assert.Empty(t, b.of(Vacuum))

	b.crash(2)
	swings(b, 14.4, 2, 8, -8, 10*time.Hour)
	assert.True(t, b.last(Vacuum).Active, "and it is watched again")
}

// A tank that the log calls open shows its gauge's zero, however low, and though its blow-down was not seen as one.
func TestALoggedOpeningShowsTheGaugesZero(t *testing.T) {
	b := newBench(t, Settings{Sealed: true})
	b.both(14.4, 65, 2*time.Minute, 12*time.Hour)
	b.both(14.4, -7.2, 2*time.Minute, 6*time.Minute)
	require.False(t, b.tank.state.Head.Blown)
	b.log("vent", nil, nil)
	b.both(14.4, -6.4, 2*time.Minute, 2*time.Hour)
	require.Equal(t, "+-", b.of(Vacuum), "until it was logged")
	swings(b, 14.4, 14.4, -6.4, -7.4, 4*time.Hour)
	assert.Equal(t, "+-", b.of(Vacuum))
	assert.Less(t, b.tank.state.Head.Zero, -5.0)
}

// What a gauge showed of the air counts for something while its tank is cooled, days later.
func TestAGaugeThatReadLowOfTheAirIsNoVacuumToCome(t *testing.T) {
	for _, c := range []struct {
		air  float64
		want bool
	}{{0, true}, {-3, false}} {
		b := blown(t, c.air, 5*time.Minute)
		b.log("seal", nil, nil)
		b.both(14.4, 45, 5*time.Minute, 24*time.Hour)
		b.crash(6)
		swings(b, 14.4, 6, 45, 3.5, 16*time.Hour)
		swings(b, 6, 6, 3.5, 1.2, 8*time.Hour)
		b.both(6, 1.2, 5*time.Minute, 12*time.Hour)
		assert.Equal(t, c.want, b.of(Vacuum) != "", c.air)
	}
}
