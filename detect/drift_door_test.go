package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheTrailForgetsADoorThatIsShut(t *testing.T) {
	const ten = 10 * time.Minute
	for _, test := range []struct {
		name          string
		every         time.Duration
		heard, stands []float64 // degC
	}{
		{"a door", ten, []float64{14.4, 14.4, 14.9, 16.0, 15.0, 14.6, 14.4, 14.4}, []float64{14.4, 14.4, 14.4, 14.4, 14.4, 14.4, 14.4, 14.4}},
		{"that fades yet", ten, []float64{14.4, 14.4, 14.9, 16.0, 15.0, 14.6}, []float64{14.4, 14.4, 14.9, 16.0, 15.0, 14.6}},
		{"that is open yet", ten, []float64{14.4, 14.4, 14.9, 16.0}, []float64{14.4, 14.4, 14.9, 16.0}},
		{
			"while the beer is cooled", ten,
			[]float64{14.7, 14.8, 14.9, 15.5, 16.4, 16.4, 15.4, 14.6, 14.55}, []float64{14.7, 14.8, 14.9, 14.84, 14.78, 14.72, 14.67, 14.61, 14.55},
		},
		{"heard twice an hour", 30 * time.Minute, []float64{14.4, 14.4, 15.6, 14.7, 14.7}, []float64{14.4, 14.4, 14.55, 14.7, 14.7}},
		{"heard once an hour", time.Hour, []float64{14.4, 14.4, 15.6, 14.4}, []float64{14.4, 14.4, 14.4, 14.4}},
		{"a quick thermostat's top", ten, []float64{14.2, 14.3, 14.45, 14.55, 14.65, 14.4, 14.2}, []float64{14.2, 14.3, 14.45, 14.55, 14.65, 14.4, 14.2}},
		{
			"beer turned over, and warmer", ten,
			[]float64{14.4, 14.4, 15.4, 15.45, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4},
			[]float64{14.4, 14.4, 15.4, 15.45, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4, 15.4},
		},
		{"a slow wave", time.Hour, []float64{14.4, 14.8, 15.1, 14.8, 14.4}, []float64{14.4, 14.8, 15.1, 14.8, 14.4}},
		{"the first word of all", ten, []float64{14.4}, []float64{14.4}},
	} {
		t.Run(test.name, func(t *testing.T) {
			h := heading{Noise: headingNoise}
			for i, celsius := range test.heard {
				g := glance{sample: sample{At: began.Add(time.Duration(i) * test.every), Value: celsius}}
				g.Ends = [looks]float64{celsius, celsius, celsius, celsius}
				h.Trail = append(h.Trail, g)
				if door, ok := h.shut(barestTank); ok {
					h.forgetDoor(door)
				}
			}
			for i, g := range h.Trail {
				assert.InDelta(t, test.stands[i], g.Value, 0.011, "mean %d", i)
				assert.InDelta(t, test.stands[i], g.Ends[0], 0.3, "mean %d", i)
			}
		})
	}
}

// door opens one for 25 minutes, by which the thermometer in its well goes up by so much, and waits.
func (c *cellar) door(kelvin float64, length time.Duration) {
	for opened := c.now; c.now.Before(opened.Add(length)); {
		past := c.now.Sub(opened).Minutes()
		c.read(c.probe, Temperature, c.beer+kelvin*min(past/10, 1)*math.Exp(-max(0, past-25)/10))
		c.pass(c.every)
	}
}

// A door that was opened while the beer was held is no top of its thermostat's: cooling that fails in the days after it is told
// hours ahead, as ever.
func TestADoorHidesNoClimb(t *testing.T) {
	for _, every := range []time.Duration{time.Minute, 5 * time.Minute, 26 * time.Minute} {
		c := newCellar(t, 0.5)
		c.every = every
		c.run(0.2, 20*time.Hour, false)
		c.door(2.2, 90*time.Minute)
		c.run(0.2, 20*time.Hour, false)
		require.Empty(t, c.of(CrashDrift), "every %s", every)
		for from := c.now; c.of(CrashDrift) == "" && c.now.Before(from.Add(24*time.Hour)); {
			c.run(0.1, c.every, true)
		}
		assert.Less(t, c.beer, 15.1, "every %s: it was told at %.2f", every, c.beer)
	}
}

// A second door soon after the first is one, too, and no heating.
func TestASecondDoorIsOne(t *testing.T) {
	for _, every := range []time.Duration{time.Minute, 5 * time.Minute, 10 * time.Minute} {
		c := newCellar(t, 0.5)
		c.every = every
		c.run(0.2, 20*time.Hour, false)
		for range 3 {
			c.door(1.8, 95*time.Minute)
		}
		assert.Empty(t, c.of(CrashDrift), "every %s", every)
	}
}

// Little beer in a warm room goes up faster than a cellar warms most tanks, but along a line, and is told before its limit.
func TestAQuickClimbIsNoDoor(t *testing.T) {
	for _, rate := range []float64{0.45, 0.6, 0.8} { // K/h
		for _, every := range []time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute} {
			c := newCellar(t, 0.4)
			c.every = every
			c.run(rate, 30*time.Hour, false)
			for c.of(CrashDrift) == "" && c.beer < 16 {
				c.run(rate, every, true)
			}
			found := c.last(CrashDrift)
			over := time.Duration((c.beer - 15.4) / rate * float64(time.Hour))
			assert.LessOrEqual(t, over+max(0, warmFor-found.Held), warmFor, "%.2f K/h, every %s: it stands at %.2f", rate, every, c.beer)
		}
	}
}

// A rise that has gone on for hours has had its wait where it passes the limit; not where a door does, on top of it.
func TestADoorOnARiseHasHadNoWait(t *testing.T) {
	waited := func(from, door float64) time.Duration {
		h := heading{}
		for i := range 18 { // three hours
			celsius := from + 0.02*float64(i)
			if i > 16 {
				celsius += door
			}
			h.follow(celsius, began.Add(time.Duration(i)*headingWidth))
		}
		return h.waited(15.4)
	}
	assert.Equal(t, climbWatched, waited(15.1, 0), "by its line it is there")
	assert.Zero(t, waited(14.7, 0.5), "a third of a kelvin below, but for the door")
}

// A thermometer that has spoken for some minutes only has no line yet: warm beer is told all the same.
func TestAThermometerThatIsNewHasNoLine(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	for _, celsius := range []float64{14.9, 14.9, 15.6, 15.6, 15.6} {
		b.read("well-3", Temperature, celsius)
		b.pass(time.Minute)
	}
	assert.Equal(t, "+", b.of(CrashDrift))
}

// A well that is heard after a float had climbed goes by its own trail.
func TestAWellGoesByItsOwnTrail(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(14.4)
	for celsius := 13.9; celsius < 14.9; celsius += 0.8 / 60 {
		b.read("hyd-3", Gravity, 1.012)
		b.read("hyd-3", Temperature, celsius)
		b.pass(time.Minute)
	}
	d := &b.tank.state.Drift
	require.False(t, d.SteppedAt.IsZero() && d.LeaptAt.IsZero() && !d.Straight)
	for range 3 {
		b.read("well-3", Temperature, 15.3)
		b.pass(time.Minute)
	}
	require.Equal(t, "well-3", d.Thermometer)
	assert.True(t, d.SteppedAt.IsZero() && d.LeaptAt.IsZero() && !d.Straight)
}

// A door that is opened bit by bit goes up as straight as beer whose cooling failed, and is foretold as that. Once it is shut
// before anybody was called, nobody is.
func TestASlowDoorThatIsShutCallsNobody(t *testing.T) {
	for _, every := range []time.Duration{time.Minute, 2 * time.Minute, 3 * time.Minute} {
		c := newCellar(t, 0.5)
		c.every = every
		c.run(0.2, 30*time.Hour, false)
		for opened := c.now; c.now.Before(opened.Add(3 * time.Hour)); c.pass(c.every) {
			past := c.now.Sub(opened).Minutes()
			c.read(c.probe, Temperature, 14.5+0.55*min(past/80, 1)*math.Exp(-max(0, past-85)/12))
		}
		require.Equal(t, "+-", c.of(CrashDrift), "or the door is too quick for this test")
		told, over := c.found[len(c.found)-2], c.last(CrashDrift)
		assert.Less(t, over.Time.Sub(told.Time)+told.Held, warmFor, "every %s", every)
	}
}
