package detect

import (
	"encoding/json"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A call says the same whichever of the witnesses of one moment is heard first: a gauge may call at the end of a half hour
// that is the float's hour, too.
func TestACallSaysTheSameInWhateverOrderAMomentIsHeard(t *testing.T) {
	for _, climb := range []float64{1.5, 2, 2.5, 3, 3.5, 4} { // kPa/h
		one, other := closedTank(t), closedTank(t)
		noise := rand.New(rand.NewPCG(3, uint64(climb*10)))
		for at := time.Duration(0); at < 90*time.Hour; at += 10 * time.Minute {
			working := max(0, (at - 60*time.Hour).Hours())
			said := []word{
				{"hyd-3", Gravity, roundTo(1.012-0.00005*working+0.0003*noise.NormFloat64(), 0.0001), 0},
				{"well-3", Temperature, roundTo(14.4+0.05*noise.NormFloat64(), 0.1), 0},
				{"head-3", Pressure, 60 + climb*working + 0.1*noise.NormFloat64(), 0},
			}
			one.moment(said...)
			slices.Reverse(said)
			other.moment(said...)
			one.pass(10 * time.Minute)
			other.pass(10 * time.Minute)
		}
		require.Contains(t, one.of(Refermentation), "+", "%v kPa/h", climb)
		assert.ElementsMatch(t, one.found, other.found, "%v kPa/h", climb)
		assert.Equal(t, one.tank.Status().Forecast, other.tank.Status().Forecast, "%v kPa/h", climb)
	}
}

// What is remembered of a moment before stays as it was, whatever becomes of the points since.
func TestWhatIsRememberedStaysAsItWas(t *testing.T) {
	at := func(minutes int) time.Time { return began.Add(time.Duration(minutes) * time.Minute) }
	door := shutDoor{Before: sample{At: at(60), Value: 13}, After: sample{At: at(150), Value: 13.1}}
	for name, then := range map[string]func(c *gauge){
		"a half hour ends": func(c *gauge) { c.addPoint(block{Start: at(330), Values: []float64{90}, Temps: []float64{9}}, at(355)) },
		"it is misread": func(c *gauge) {
			c.addPoint(block{Start: at(330), Values: []float64{90}, Temps: []float64{9}}, at(355))
			c.misreads(1)
		},
		"hands":  func(c *gauge) { c.act(at(200)) },
		"a door": func(c *gauge) { c.forgetDoor(door) },
		"hands, and then a half hour": func(c *gauge) {
			c.act(at(200))
			c.addPoint(block{Start: at(330), Values: []float64{90}, Temps: []float64{9}}, at(355))
		},
	} {
		c := newGauge()
		c.Since = at(-600)
		for i := range 10 {
			c.addPoint(block{Start: at(30 * i), Values: []float64{80}, Temps: []float64{14}}, at(30*i+25))
		}
		c.reckon(testShare)
		c.Block = block{Start: at(300), Values: []float64{80}, Temps: []float64{14}}
		before := slices.Clone(c.Points)
		c.remember(at(335))
		require.NotNil(t, c.Was, name)
		then(c)
		assert.NotEqual(t, before, c.Points, name)
		assert.Equal(t, before, c.Was.Points, name)
	}
	for name, then := range map[string]func(tank *Tank, f *float){
		"an hour ends": func(_ *Tank, f *float) { f.addPoint(point{At: at(600), Plato: 3.1, Celsius: 14, N: 60}, 0.1) },
		"hops":         func(_ *Tank, f *float) { f.hop(at(300)) },
		"warmth": func(tank *Tank, f *float) {
			tank.floatTemperature(Reading{Probe: "hyd-3", Quantity: Gravity, Time: at(601)}, f)
		},
		"it sticks, and then an hour": func(tank *Tank, f *float) {
			tank.forgetSince("hyd-3", at(300))
			f.addPoint(point{At: at(600), Plato: 3.2, Celsius: 14, N: 60}, 0.1)
		},
	} {
		tank := NewTank("FV3", Settings{})
		f := &float{Noise: noiseGuess, White: whiteGuess, Block: block{Start: at(540), Values: []float64{1.012}, Temps: []float64{14}}}
		tank.state.Floats["hyd-3"] = f
		tank.state.Probes["hyd-3"] = &probeState{Celsius: gate{Seen: true, Value: 9, At: at(600)}}
		for i := range 9 {
			f.addPoint(point{At: at(60 * i), Plato: 3, Celsius: 14, N: 60}, 0.1)
		}
		before := slices.Clone(f.Points)
		f.remember(at(601))
		require.NotNil(t, f.Was, name)
		then(tank, f)
		assert.NotEqual(t, before, f.Points, name)
		assert.Equal(t, before, f.Was.Points, name)
	}
}

// Whatever is remembered, or unsure, is so for one moment: the next forgets it, over a restart, too, and whichever of the
// witnesses it is that keeps something.
func TestTheNextMomentForgetsWhatWasRemembered(t *testing.T) {
	settings := Settings{BeerLiters: 2000, HeadspaceLiters: 200, Sealed: true}
	for _, alone := range []string{"float", "gauge", "balance"} {
		tank := NewTank("FV1", settings)
		kept, unsure := 0, 0
		for minute := range 5 * 60 {
			at := began.Add(time.Duration(minute) * time.Minute)
			if minute == 4*60 {
				body, err := json.Marshal(tank)
				require.NoError(t, err)
				tank = NewTank("FV1", settings)
				require.NoError(t, json.Unmarshal(body, tank))
			}
			tank.Tick(at)
			for _, f := range tank.state.Floats {
				require.Nil(t, f.Was, minute)
			}
			for _, b := range tank.state.Balances {
				require.Nil(t, b.Was, minute)
				if alone == "gauge" {
					b.Block = block{}
				}
			}
			for _, c := range tank.state.Gauges {
				require.Nil(t, c.Was, minute)
				require.Zero(t, c.Unsure, minute)
				if alone == "balance" {
					c.Block = block{}
				}
			}
			if minute < 3*60 || minute > 4*60 { // then it is silent for long enough
				tank.Take(Reading{Probe: "well-1", Quantity: Temperature, Value: 14, Time: at, Arrived: at})
			}
			if alone == "float" {
				tank.Take(Reading{Probe: "hyd-1", Quantity: Gravity, Value: 1.012, Time: at, Arrived: at})
			} else {
				tank.Take(Reading{Probe: "head-1", Quantity: Pressure, Value: 80, Time: at, Arrived: at})
			}
			f, b, c := tank.state.Floats["hyd-1"], tank.state.Balances["head-1"], tank.state.Gauges["head-1"]
			if f != nil && f.Was != nil || b != nil && b.Was != nil || c != nil && c.Was != nil {
				kept++
			}
			if c != nil && !c.Unsure.IsZero() {
				unsure++
			}
		}
		assert.Positive(t, kept, alone)
		assert.Equal(t, alone != "float", unsure > 0, alone)
	}
}
