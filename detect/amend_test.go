package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// late writes a line about what was done some time ago.
func (b *bench) late(ago time.Duration, name string, amounts map[string]float64, words map[string]string) Event {
	e := Event{Tank: "FV3", Name: name, Time: b.now.Add(-ago), Arrived: b.now, Amounts: amounts, Words: words}
	b.found = append(b.found, b.tank.Log(e)...)
	return e
}

func TestALineThatComesLateFindsItsPlace(t *testing.T) {
	b := newBench(t, Settings{})
	b.log("seal", nil, nil)
	b.pass(2 * time.Hour)
	b.log("vent", map[string]float64{"pressure": 70}, nil)
	b.pass(time.Hour)
	b.late(2*time.Hour, "vent", nil, nil) // between the two
	assert.Equal(t, GasHeldAbove, b.tank.Status().Gas, "what was done last stands")
	b.late(10*time.Minute, "seal", nil, nil)
	assert.Equal(t, GasClosed, b.tank.Status().Gas)
}

func TestAStruckLineSaysNothingAnyMore(t *testing.T) {
	b := newBench(t, Settings{})
	b.log("pitch", map[string]float64{"setpoint": 19}, nil)
	b.pass(time.Hour)
	wrong := b.late(0, "crash", map[string]float64{"setpoint": 2}, nil)
	for range 4 {
		b.read("well-3", Temperature, 19)
		b.pass(10 * time.Minute)
	}
	b.log("strike", nil, map[string]string{"line": wrong.Line()})
	require.NotNil(t, b.tank.Status().SetpointCelsius)
	assert.Equal(t, 19.0, *b.tank.Status().SetpointCelsius, "the setpoint before is in force again")

	first := b.late(0, "crash", map[string]float64{"setpoint": 20}, nil)
	b.pass(time.Minute)
	b.late(0, "crash", map[string]float64{"setpoint": 14.4}, map[string]string{"corrects": first.Line()})
	assert.Equal(t, 14.4, *b.tank.Status().SetpointCelsius)
}

// Whether a probe is in the tank is what was done last with it, whenever that was written.
func TestAProbeIsWhereTheNewestLineInForceHasIt(t *testing.T) {
	b := newBench(t, Settings{})
	probe := func(ago time.Duration, id, state, corrects string) Event {
		defer b.pass(time.Minute)
		words := map[string]string{"id": id, "state": state}
		if corrects != "" {
			words["corrects"] = corrects
		}
		return b.late(ago, "probe", nil, words)
	}
	out := func(id string) bool { return b.tank.state.Probes[id].Out }
	for _, id := range []string{"hyd-1", "hyd-2"} {
		b.hold(id, Gravity, 1.0118, 10*time.Minute, time.Hour)
	}
	probe(0, "hyd-1", "in", "")
	probe(2*time.Hour, "hyd-1", "out", "")
	assert.False(t, out("hyd-1"), "it was put in since")
	wrong := probe(0, "hyd-1", "out", "")
	require.True(t, out("hyd-1"))
	right := probe(0, "hyd-2", "out", wrong.Line())
	assert.False(t, out("hyd-1"), "it was the other one")
	assert.True(t, out("hyd-2"))
	b.log("strike", nil, map[string]string{"line": right.Line()})
	assert.False(t, out("hyd-2"))
}

// Fruit goes in, somebody draws a sample and logs it, and the fruit is logged after it: that gravity stood is over.
func TestFruitThatIsLoggedLateFermentsOnPurpose(t *testing.T) {
	b := newBench(t, Settings{})
	b.log("pitch", nil, nil)
	b.tank.state.Verdict.Stable = true
	require.True(t, b.tank.armed())
	b.pass(time.Hour)
	b.late(10*time.Minute, "sample", nil, nil)
	require.True(t, b.tank.armed())
	b.late(30*time.Minute, "add", nil, nil)
	assert.False(t, b.tank.armed())
	assert.True(t, b.tank.fermenting())
}

// A drift that was called by a setpoint put wrong returns with the log as its reason; what was told stays told.
func TestAnAlarmOfAWrongLineReturns(t *testing.T) {
	b := newBench(t, Settings{})
	b.log("pitch", map[string]float64{"setpoint": 19}, nil)
	b.hold("well-3", Temperature, 19, 5*time.Minute, 2*time.Hour)
	wrong := b.late(0, "crash", map[string]float64{"setpoint": 14}, nil)
	b.hold("well-3", Temperature, 19, 5*time.Minute, 8*time.Hour)
	require.Equal(t, "+", b.of(CrashDrift), "cooling has stalled")
	b.log("strike", nil, map[string]string{"line": wrong.Line()})
	assert.Equal(t, "+-", b.of(CrashDrift))
	b.hold("well-3", Temperature, 19, 5*time.Minute, 4*time.Hour)
	assert.Equal(t, "+-", b.of(CrashDrift))
}

// CO2 put on by hand and logged late explains the rise that was called meanwhile, whatever it was taken for.
func TestGasLoggedLateExplainsTheRise(t *testing.T) {
	for alarm, crashed := range map[Alarm]bool{PressureRise: false, Refermentation: true} {
		t.Run(string(alarm), func(t *testing.T) {
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200, Sealed: true})
			both := func(kPa float64, length time.Duration) {
				for end := b.now.Add(length); b.now.Before(end); b.pass(5 * time.Minute) {
					b.read("well-3", Temperature, 14.4)
					b.read("head-3", Pressure, kPa)
				}
			}
			if crashed {
				b.crash(14.4)
			}
			both(50, 36*time.Hour)
			put := b.now
			for kPa := 50.5; b.of(alarm) == "" && kPa < 120; kPa += 0.5 {
				both(kPa, 20*time.Minute)
			}
			require.Equal(t, "+", b.of(alarm))
			b.late(b.now.Sub(put), "gas", map[string]float64{"to": 90}, nil)
			assert.Equal(t, "+-", b.of(alarm))
			assert.Contains(t, b.last(alarm).Summary, "(log: gas at ")
		})
	}
}

func TestTheLinesOfABatchAreInASnapshot(t *testing.T) {
	b := newBench(t, Settings{})
	b.log("seal", nil, nil)
	b.pass(time.Hour)
	wrong := b.late(0, "vent", nil, nil)
	b.restart()
	b.log("strike", nil, map[string]string{"line": wrong.Line()})
	assert.Equal(t, GasClosed, b.tank.Status().Gas)
}

// A batch of many lines forgets the oldest of them, not what they said.
func TestALateLineFindsWhatForgottenLinesSaid(t *testing.T) {
	tank := NewTank("FV1", Settings{})
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	line := func(name string, amounts map[string]float64, after time.Duration) Event {
		return Event{Tank: "FV1", Name: name, Amounts: amounts, Time: at.Add(after), Arrived: at.Add(after)}
	}
	tank.Log(line("crash", map[string]float64{"setpoint": 14.4}, 0))
	tank.Log(line("seal", nil, time.Hour))
	for i := range actsKept + 10 {
		tank.Log(line("note", nil, 2*time.Hour+time.Duration(i)*time.Minute))
	}
	late := line("sample", nil, 3*time.Hour)
	late.Arrived = at.Add(20 * time.Hour)
	tank.Log(late)
	s := tank.Status()
	require.NotNil(t, s.SetpointCelsius)
	assert.InDelta(t, 14.4, *s.SetpointCelsius, 1e-9)
	assert.Equal(t, GasClosed, s.Gas)
	assert.LessOrEqual(t, len(tank.state.Acts.Lines), actsKept)
}
