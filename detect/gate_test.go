package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// What goes further from one reading to the next than a wild value must is believed while it goes on, not once it is over:
// by then the tank has burst, or is sucked in.
func TestWhatGoesOnIsBelieved(t *testing.T) {
	for _, every := range []time.Duration{10 * time.Minute, 15 * time.Minute, 19 * time.Minute, time.Hour} {
		for _, step := range []float64{7.5, 12} { // kPa from reading to reading
			b := newBench(t, Settings{ReliefKPa: 100, Sealed: true})
			b.both(14.4, 60, every, 6*time.Hour)
			kPa := 60.0
			for ; kPa < 200 && b.of(OverPressure) == ""; kPa += step {
				b.both(14.4, kPa, every, every)
			}
			assert.Less(t, kPa, 100+2*step, "rising %.1f each %s", step, every)

			b = newBench(t, Settings{Sealed: true})
			b.both(14.4, 8, every, 6*time.Hour)
			for kPa = 8; kPa > -90 && b.of(Vacuum) == ""; kPa -= step {
				b.both(14.4, kPa, every, every)
			}
			assert.Greater(t, kPa, -3*step, "falling %.1f each %s", step, every)
		}
	}
}

// A tank that was blown down is not where it was an hour later, nor where it was half an hour ago.
func TestTheGateKnowsWhatStaysAway(t *testing.T) {
	for name, tt := range map[string]struct {
		every time.Duration
		value float64
		want  bool
	}{
		"beer gives gas back":     {time.Hour, 9, true},
		"it was wild":             {time.Hour, 66, false},
		"wild to the other side":  {time.Hour, 90, false},
		"so soon it may be noise": {time.Minute, 9, false},
		"two wild ones":           {10 * time.Minute, 9, false},
	} {
		g := gate{}
		g.pass(68, gaugeBegins, 5)
		g.pass(2, gaugeBegins.Add(tt.every), 5)
		assert.Equal(t, tt.want, g.staysAway(tt.value, 5), name)
	}
}

// Two readings lead no further ahead than a little.
func TestTheGateIsLedNoFurther(t *testing.T) {
	g := gate{}
	g.pass(60, gaugeBegins, 5)
	g.pass(64, gaugeBegins.Add(10*time.Minute), 5)
	assert.True(t, g.climbsOn(72, gaugeBegins.Add(30*time.Minute), 5))
	assert.False(t, g.climbsOn(352, gaugeBegins.Add(12*time.Hour+10*time.Minute), 5))
}

// A gauge that speaks once an hour tells of a climb to the relief in time: none of its readings is kept back while they lead
// there.
func TestAnHourlyGaugeClimbsToItsRelief(t *testing.T) {
	b := newBench(t, Settings{ReliefKPa: 100, Sealed: true})
	b.both(14.4, 60, time.Hour, 6*time.Hour)
	for _, kPa := range []float64{65, 69.9, 74.4, 82.1, 89.8, 97.3} {
		b.both(14.4, kPa, time.Hour, time.Hour)
	}
	assert.Equal(t, "+", b.of(OverPressure), "before it lifts")
}

func TestTheGate(t *testing.T) {
	for name, tt := range map[string]struct {
		every  time.Duration
		values []float64
		want   []bool
	}{
		"a lone wild value":                   {15 * time.Minute, []float64{10, 90, 10}, []bool{true, false, true}},
		"wild to either side":                 {15 * time.Minute, []float64{10, 90, -50, 10}, []bool{true, false, false, true}},
		"the next stands by it":               {15 * time.Minute, []float64{10, 90, 91}, []bool{true, false, true}},
		"it goes on":                          {15 * time.Minute, []float64{10, 20, 30, 40, 50}, []bool{true, false, true, true, true}},
		"two wild ones within a minute":       {time.Minute, []float64{10, 20, 50, 10}, []bool{true, false, false, true}},
		"it goes on from the first, for long": {time.Minute, []float64{10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 110}, []bool{true, false, false, false, false, false, false, false, false, false, true}},
	} {
		t.Run(name, func(t *testing.T) {
			var g gate
			for i, v := range tt.values {
				assert.Equal(t, tt.want[i], g.pass(v, gaugeBegins.Add(time.Duration(i)*tt.every), 5), "value %d", i)
			}
		})
	}
}
