package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Where the log is silent a gauge that stood may speak, but not beside a float that fell meanwhile: then a valve held the
// pressure of beer that was fermenting.
func TestAGaugeThatStoodBesideAFallingFloatShowsNoFinishedBeer(t *testing.T) {
	t.Parallel()
	for falls, want := range map[float64]string{0: "+", 0.008: ""} { // SG, until the climb
		b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
		const stands, ends = 40.0, 80.0 // h
		for at := 0.0; at < ends && b.of(Refermentation) == ""; at += 1.0 / 6 {
			b.read("well-3", Temperature, 14.4+0.3*math.Sin(at/2))
			b.read("hyd-3", Gravity, 1.0300-falls*min(at/stands, 1))
			b.read("head-3", Pressure, 60+1.5*math.Sin(at/2)+40*fermented(at-stands)/ends)
			b.pass(10 * time.Minute)
		}
		assert.Equal(t, want, b.of(Refermentation), "fallen by %.4f", falls)
	}
}

// Fruit explains a rise that nothing explained before.
func TestARiseIsExplainedByBeerThatFermentsOnPurpose(t *testing.T) {
	t.Parallel()
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200, Sealed: true})
	b.both(14.4, 50, 5*time.Minute, 36*time.Hour)
	for kPa := 50.5; b.of(PressureRise) == "" && kPa < 120; kPa += 0.5 {
		b.both(14.4, kPa, 5*time.Minute, 20*time.Minute)
	}
	require.Equal(t, "+", b.of(PressureRise))
	b.log("add", nil, map[string]string{"what": "raspberries"})
	b.both(14.4, 70, 5*time.Minute, time.Hour)
	require.Equal(t, "+-", b.of(PressureRise))
	assert.Contains(t, b.last(PressureRise).Summary, "is explained by beer that ferments")
}

// A float whose battery dies while beer creeps says nothing more of it: then a gauge that stands ends the verdict, where
// nothing holds its pressure.
func TestAVerdictEndsWithoutAWitnessThatDied(t *testing.T) {
	t.Parallel()
	for held, want := range map[bool]string{false: "+-", true: "+"} {
		b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
		b.crash(14)
		b.log("gas", map[string]float64{"hold": 50}, nil)
		for hour := 0.0; hour < 120; hour += 1.0 / 6 {
			b.read("hyd-3", Gravity, 1.0120-0.00006*max(0, hour-48))
			b.both(14, 50, 10*time.Minute, 10*time.Minute)
		}
		require.Equal(t, "+", b.of(Refermentation))
		if !held {
			b.log("gas", nil, map[string]string{"hold": "off"})
		}
		b.both(14, 50, 10*time.Minute, 3*24*time.Hour)
		require.Equal(t, "+", b.of(Refermentation), "it may come back")
		b.both(14, 50, 10*time.Minute, 2*24*time.Hour)
		assert.Equal(t, want, b.of(Refermentation), "held: %t", held)
	}
}
