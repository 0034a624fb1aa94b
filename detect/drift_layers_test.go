package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// layered is a tank in which a float reads some kelvin over the well, for a time; a silent well says nothing.
func (b *bench) layered(celsius, over float64, silent bool, length time.Duration) {
	for end := b.now.Add(length); b.now.Before(end); {
		if !silent {
			b.read("well-3", Temperature, celsius)
		}
		b.read("hyd-3", Temperature, celsius+over)
		b.read("hyd-3", Gravity, 1.0120)
		b.pass(10 * time.Minute)
	}
}

// A float in the warmest layer is no beer that warms, once the well is silent. Beer that does warm is told by the float alone.
func TestAFloatInTheWarmestLayer(t *testing.T) {
	for _, over := range []float64{-2, 0, 1.2, 3} {
		b := newBench(t, Settings{})
		b.crash(14.4)
		b.layered(14.4, over, false, 24*time.Hour)
		b.layered(14.4, over, true, 12*time.Hour)
		assert.Empty(t, b.of(CrashDrift), "%.1f K over the well", over)
		b.layered(14.4, over, false, 12*time.Hour)
		b.layered(14.4, over, true, 12*time.Hour)
		assert.Empty(t, b.of(CrashDrift), "again, %.1f K over the well", over)
		for warmed := 0.0; warmed < 2; warmed += 0.1 {
			b.layered(14.4+warmed, over, true, 30*time.Minute)
		}
		assert.Regexp(t, `^\++$`, b.of(CrashDrift), "it warms, %.1f K over the well", over)
	}
}

// What was learned at one setpoint says nothing of colder beer, and a float that goes in warm has shown no layer.
func TestWhatIsNoLayerHidesNoDrift(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	b.layered(14.4, 1.6, false, 24*time.Hour)
	b.crash(2)
	for celsius := 14.4; celsius > 4; celsius -= 0.4 {
		b.layered(celsius, 0, true, time.Hour)
	}
	b.layered(4, 0, true, 12*time.Hour)
	assert.Contains(t, b.last(CrashDrift).Summary, "stalled at 4.0 degC")

	b = newBench(t, Settings{})
	b.crash(14.4)
	b.layered(14.4, 4, false, 10*time.Minute)
	b.layered(14.4, 0, false, 3*time.Hour)
	for warmed := 0.0; warmed < 1.9; warmed += 0.1 {
		b.layered(14.4+warmed, 0, true, 30*time.Minute)
	}
	assert.NotEmpty(t, b.of(CrashDrift))
}

// A drift is told as the beer is, and of the float how it reads.
func TestADriftByAFloatInALayerIsTold(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	b.layered(14.4, 2, false, 24*time.Hour)
	for warmed := 0.0; warmed <= 2; warmed += 0.1 {
		b.layered(14.4+warmed, 2, true, 30*time.Minute)
	}
	f := b.last(CrashDrift)
	assert.Regexp(t, `beer is warming: 15\.[45] degC .*, 1\.[01] degC over its setpoint of 14\.4 degC`, f.Summary)
	assert.Contains(t, f.Evidence.Witnesses[0], "which read 2.0 degC over well-3 while both were heard: allowed for")
}

// Who reads the message looks for a thermometer by its name: of one that is hardly known, what it was held against says nothing.
func TestAThermometerIsNamedThatAnotherWasHeldAgainst(t *testing.T) {
	for readings, want := range map[int]string{asideKnown - 1: "hyd-3", asideKnown: "well-3"} {
		b := newBench(t, Settings{})
		b.crash(14.4)
		b.layered(14.4, 0, false, time.Hour)
		d := &b.tank.state.Drift
		d.Thermometer, d.Aside = "hyd-3", map[string]aside{"hyd-3": {Kelvin: 1, Over: "well-3", N: readings}}
		b.pass(10 * time.Minute)
		b.read("hyd-4", Gravity, 1.0120)
		b.read("hyd-3", Temperature, 14.4)
		b.read("hyd-4", Temperature, 14.4)
		assert.Equal(t, want, d.Aside["hyd-4"].Over, "%d readings", readings)
	}
}

// One that nobody could compare is taken at its word.
func TestAFloatAloneIsTakenAtItsWord(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	b.layered(14.4, 0, true, 24*time.Hour)
	b.layered(14.4, 2, true, 6*time.Hour)
	assert.NotEmpty(t, b.of(CrashDrift))
}

// Two wells that take turns shift no setpoint: what each is off by is reckoned from the first.
func TestWellsThatTakeTurns(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	turn := func(one, two bool) {
		for end := b.now.Add(24 * time.Hour); b.now.Before(end); b.pass(10 * time.Minute) {
			if one {
				b.read("well-1", Temperature, 14.4)
			}
			if two {
				b.read("well-2", Temperature, 15.2)
			}
		}
	}
	for range 3 {
		turn(true, true)
		turn(false, true)
		turn(true, true)
		turn(true, false)
	}
	assert.Empty(t, b.of(CrashDrift))
}

// After cooling, a float alone rides in a warmer layer, and the first rise that its thermostat allows comes near the limit.
// One that goes on is told.
func TestAFloatAloneIsHeardAtTheLimitWhileItsTopsAreUnknown(t *testing.T) {
	for top, called := range map[float64]string{2.97: "", 3.3: "+"} {
		b := newBench(t, Settings{})
		b.crash(2)
		to := func(celsius, from, perHour float64) {
			for at := from; math.Abs(at-celsius) > 0.04; at += perHour * 0.4 {
				b.read("hyd-3", Temperature, math.Round(20*at)/20)
				b.read("hyd-3", Gravity, 1.0120)
				b.pass(24 * time.Minute)
			}
		}
		to(2.3, 8, -0.25)
		to(top, 2.3, 0.125)
		assert.Equal(t, called, b.of(CrashDrift), "up to %.2f degC", top)
	}
}
