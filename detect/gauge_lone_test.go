package detect

import (
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

// A gauge whose thermometer is silent, or that never had one, tells of a climb; it does not know of what.
func TestAGaugeWithoutAThermometerTellsOfAClimb(t *testing.T) {
	for name, heard := range map[string]bool{"silent since last night": true, "never heard": false} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			b.log("crash", map[string]float64{"setpoint": 14.4}, nil)
			b.log("seal", nil, nil)
			b.stands(80, 0, heard, 60*time.Hour)
			b.stands(80, 0, false, 12*time.Hour)
			assert.Empty(t, b.of(PressureRise))

			p := b.stands(80, 2, false, 14*time.Hour)
			require.Equal(t, "+", b.of(PressureRise))
			assert.Contains(t, b.last(PressureRise).Summary, "no thermometer is heard: beer that warms, or that works again")
			assert.Empty(t, b.of(Refermentation), "nobody knows that it is yeast")
			assert.Contains(t, b.tank.Status().Learning, "head-3: no thermometer is heard: beer that works and beer that warms look alike to it, and it sees no leak")

			b.stands(p, 0, true, 30*time.Minute)
			assert.Equal(t, "+-", b.of(PressureRise))
			assert.Contains(t, b.last(PressureRise).Summary, "a thermometer is heard again")
		})
	}
}

func TestARiseOfALoneGaugeThatIsMovedComesToAnEnd(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.log("crash", map[string]float64{"setpoint": 14.4}, nil)
	b.log("seal", nil, nil)
	p := b.stands(b.stands(80, 0, true, 60*time.Hour), 2, false, 16*time.Hour)
	require.Equal(t, "+", b.of(PressureRise))
	b.log("probe", nil, map[string]string{"id": "head-3", "state": "out"})
	b.pass(2 * time.Hour)
	b.log("probe", nil, map[string]string{"id": "head-3", "state": "in"})
	b.stands(p, 0, false, 2*time.Hour)
	assert.Equal(t, "+-", b.of(PressureRise))
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
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			b.log("crash", map[string]float64{"setpoint": 14.4}, nil)
			b.log("seal", nil, nil)
			b.stands(80, 0, true, 60*time.Hour)
			b.stands(80, 0, false, 6*time.Hour)
			play(b)
			assert.Empty(t, b.of(PressureRise))
		})
	}
}
