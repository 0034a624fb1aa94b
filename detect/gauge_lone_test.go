package detect

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stands lets a closed tank stand, and its gauge be heard; its pressure rises by so much an hour.
func (b *bench) stands(kPa, perHour float64, thermometer bool, length time.Duration) float64 {
	for end := b.now.Add(length); b.now.Before(end); b.pass(5 * time.Minute) {
		if thermometer {
			b.read("well-3", Temperature, 14.4)
		}
		b.read("head-3", Pressure, kPa)
		kPa += perHour / 12
	}
	return kPa
}

// crashedTank is a tank that was crashed and closed by the log.
func crashedTank(t *testing.T) *bench {
	t.Helper()
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.log("crash", map[string]float64{"setpoint": 14.4}, nil)
	b.log("seal", nil, nil)
	return b
}

// A gauge whose thermometer is silent, or that never had one, tells of a climb; it does not know of what.
func TestAGaugeWithoutAThermometerTellsOfAClimb(t *testing.T) {
	for name, heard := range map[string]bool{"silent since last night": true, "never heard": false} {
		t.Run(name, func(t *testing.T) {
			b := crashedTank(t)
			b.stands(80, 0, heard, 60*time.Hour)
			b.stands(80, 0, false, 12*time.Hour)
			assert.Empty(t, b.of(PressureRise))

			p := b.stands(80, 2, false, 14*time.Hour)
			require.Equal(t, "+", b.of(PressureRise))
			assert.Contains(t, b.last(PressureRise).Summary, "no thermometer is heard: beer that warms, or that works again")
			assert.Empty(t, b.of(Refermentation), "nobody knows that it is yeast")
			assert.Contains(t, b.tank.Status().Learning, "head-3: no thermometer is heard often enough: beer that works and beer that warms look alike to it, and it sees no leak")

			b.stands(p, 0, true, 2*time.Hour)
			assert.Equal(t, "+", b.of(PressureRise), "what climbed is as high, and the beer no warmer")
			b.stands(p, 0, true, 5*time.Hour)
			assert.Equal(t, "+-", b.of(PressureRise))
			assert.Contains(t, b.last(PressureRise).Summary, "a thermometer has been heard again for hours, and tells yeast from warmth")
		})
	}
}

// climbedAlone is a closed tank whose thermometer fell silent, and whose pressure has climbed since.
func climbedAlone(t *testing.T) (b *bench, kPa float64) {
	t.Helper()
	b = crashedTank(t)
	kPa = b.stands(b.stands(80, 0, true, 60*time.Hour), 2, false, 16*time.Hour)
	require.Equal(t, "+", b.of(PressureRise))
	return b, kPa
}

func TestARiseOfALoneGaugeComesToAnEnd(t *testing.T) {
	tests := map[string]struct {
		play func(b *bench, kPa float64)
		why  string
	}{
		"the tank is opened":                  {func(b *bench, _ float64) { b.log("vent", nil, nil); b.stands(0, 0, false, 2*time.Hour) }, "the tank is open"},
		"it is blown down and nobody logs it": {func(b *bench, _ float64) { b.stands(0, 0, false, 2*time.Hour) }, "the tank is open"},
		"gas was put on": {func(b *bench, _ float64) {
			b.log("gas", map[string]float64{"to": 130}, nil)
			b.stands(130, 0, false, 2*time.Hour)
		}, "gas was moved"},
		"the beer was warm": {func(b *bench, kPa float64) {
			for range 4 {
				b.read("well-3", Temperature, 20)
				b.read("head-3", Pressure, kPa)
				b.pass(5 * time.Minute)
			}
		}, "the beer has warmed, which explains it"},
		"the gauge is taken out": {func(b *bench, _ float64) {
			b.log("probe", nil, map[string]string{"id": "head-3", "state": "out"})
		}, "the gauge was moved"},
		"the gauge is dead": {func(b *bench, _ float64) { b.pass(25 * time.Hour) }, "its gauge has not been heard for a day"},
		"another setpoint": {func(b *bench, kPa float64) {
			b.log("crash", map[string]float64{"setpoint": 2}, nil)
			b.stands(kPa, 0, false, time.Hour)
		}, "which nobody has seen it reach"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b, kPa := climbedAlone(t)
			tt.play(b, kPa)
			require.Equal(t, "+-", b.of(PressureRise))
			assert.Contains(t, b.last(PressureRise).Summary, tt.why)
			assert.Zero(t, b.last(PressureRise).Onset)
		})
	}
}

func TestAWordOfTheThermometerLeavesALoneGaugeItsPoints(t *testing.T) {
	b := crashedTank(t)
	p := b.stands(b.stands(80, 0, true, 60*time.Hour), 2, false, 8*time.Hour)
	p = b.stands(p, 2, true, 5*time.Minute)
	b.stands(p, 2, false, 8*time.Hour)
	assert.Equal(t, "+", b.of(PressureRise))
}

func TestAThermometerThatSpeaksSeldomIsNoSilence(t *testing.T) {
	b := crashedTank(t)
	kPa := 80.0
	for i := range 60 {
		b.read("well-3", Temperature, 14.4)
		perHour := 0.0
		if i > 30 {
			perHour = 2
		}
		kPa = b.stands(kPa, perHour, false, 150*time.Minute)
	}
	assert.Empty(t, b.of(PressureRise))
}

func TestBeerOnItsWayToASetpointUnseen(t *testing.T) {
	for name, seen := range map[string]time.Duration{"at once": 0, "for an hour": time.Hour} {
		t.Run(name, func(t *testing.T) {
			b := crashedTank(t)
			b.stands(80, 0, true, 60*time.Hour)
			b.log("crash", map[string]float64{"setpoint": 18}, nil)
			b.stands(b.stands(80, 0, true, seen), 2, false, 16*time.Hour)
			assert.Empty(t, b.of(PressureRise))
			said := strings.Join(b.tank.Status().Learning, "; ")
			assert.Contains(t, said, "no thermometer is heard, and the setpoint is new: waiting for the beer to reach it")
			b.stands(112, 0, false, 60*time.Hour)
			b.stands(112, 2, false, 20*time.Hour)
			assert.Equal(t, "+", b.of(PressureRise), "and then it is watched")
		})
	}
}

func TestWhatALoneGaugeDoesNotTell(t *testing.T) {
	tests := map[string]func(*bench){
		"a thermometer that comes back soon": func(b *bench) { b.stands(b.stands(80, 2, false, 2*time.Hour), 0, true, 12*time.Hour) },
		"gas put on by hand": func(b *bench) {
			b.log("gas", map[string]float64{"hold": 100}, nil)
			b.log("gas", nil, map[string]string{"hold": "off"})
			b.stands(100, 0, false, 24*time.Hour)
		},
		"beer sent to another setpoint": func(b *bench) {
			b.log("crash", map[string]float64{"setpoint": 16}, nil)
			b.stands(b.stands(80, 0, false, 14*time.Hour), 2, false, 20*time.Hour)
		},
		"beer that ferments on purpose": func(b *bench) {
			b.log("pitch", nil, nil)
			b.log("seal", nil, nil)
			b.stands(80, 2, false, 24*time.Hour)
		},
	}
	for name, play := range tests {
		t.Run(name, func(t *testing.T) {
			b := crashedTank(t)
			b.stands(80, 0, true, 60*time.Hour)
			b.stands(80, 0, false, 6*time.Hour)
			play(b)
			assert.Empty(t, b.of(PressureRise))
		})
	}
}

// What the balance has told, and its thermometer then leaves unwatched, ends where hands move the gas.
func TestARiseWhoseThermometerFallsSilentEndsWithItsGas(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200, Sealed: true})
	p := b.stands(50, 0, true, 36*time.Hour)
	for b.of(PressureRise) == "" && p < 120 {
		p = b.stands(p, 1.5, true, time.Hour)
	}
	b.stands(p, 0, false, 5*time.Hour)
	require.Equal(t, "+", b.of(PressureRise))
	require.Contains(t, b.last(PressureRise).Summary, "more than temperature and known CO2 explain")

	b.log("gas", map[string]float64{"to": 30}, nil)
	b.stands(30, 0, false, 2*time.Hour)
	assert.Equal(t, "+-", b.of(PressureRise))
	assert.Contains(t, b.last(PressureRise).Summary, "gas was moved")
	b.stands(30, 0, true, 8*time.Hour)
	assert.Equal(t, "+-", b.of(PressureRise))
}
