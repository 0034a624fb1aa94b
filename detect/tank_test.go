package detect

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// began is when the scripted tanks of these tests begin, a Monday.
var began = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// bench holds a tank and the readings a test gives it.
type bench struct {
	t     *testing.T
	tank  *Tank
	now   time.Time
	found []Finding
}

func newBench(t *testing.T, s Settings) *bench {
	t.Helper()
	return &bench{t: t, tank: NewTank("FV3", s), now: began}
}

// pass lets time go by, ticking each minute.
func (b *bench) pass(d time.Duration) {
	for end := b.now.Add(d); b.now.Before(end); {
		b.now = b.now.Add(time.Minute)
		b.found = append(b.found, b.tank.Tick(b.now)...)
	}
}

// restart goes on with what a snapshot keeps.
func (b *bench) restart() {
	b.t.Helper()
	body, err := json.Marshal(b.tank)
	require.NoError(b.t, err)
	again := NewTank(b.tank.name, b.tank.settings)
	require.NoError(b.t, json.Unmarshal(body, again))
	b.tank = again
}

// read gives one reading, measured and heard now.
func (b *bench) read(probe string, q Quantity, value float64) {
	b.found = append(b.found, b.tank.Take(Reading{
		Tank: "FV3", Probe: probe, Quantity: q, Time: b.now, Arrived: b.now, Value: value, Raw: value,
	})...)
}

// log writes a line of the cellar log, now.
func (b *bench) log(name string, amounts map[string]float64, words map[string]string) {
	b.found = append(b.found, b.tank.Log(Event{
		Tank: "FV3", Name: name, Time: b.now, Arrived: b.now, Amounts: amounts, Words: words,
	})...)
}

func (b *bench) crash(setpoint float64) {
	b.log("crash", map[string]float64{"setpoint": setpoint}, nil)
}

// hold reads a value every so often for a time.
func (b *bench) hold(probe string, q Quantity, value float64, every, length time.Duration) {
	for end := b.now.Add(length); b.now.Before(end); {
		b.read(probe, q, value)
		b.pass(every)
	}
}

// of lists the findings of one alarm, "+" where it begins, "-" where it ends.
func (b *bench) of(a Alarm) string {
	out := ""
	for _, f := range b.found {
		if f.Alarm != a {
			continue
		}
		if f.Active {
			out += "+"
		} else {
			out += "-"
		}
	}
	return out
}

// last is the newest finding of an alarm.
func (b *bench) last(a Alarm) Finding {
	b.t.Helper()
	for i := len(b.found) - 1; i >= 0; i-- {
		if b.found[i].Alarm == a {
			return b.found[i]
		}
	}
	b.t.Fatalf("no finding of %s", a)
	return Finding{}
}

func TestTheLogMakesTheTankWhatItIs(t *testing.T) {
	type line struct {
		name    string
		amounts map[string]float64
		words   map[string]string
	}
	tests := map[string]struct {
		lines []line
		check func(*testing.T, Status)
	}{
		"closed":              {[]line{{name: "seal"}}, func(t *testing.T, s Status) { assert.Equal(t, GasClosed, s.Gas) }},
		"blown down":          {[]line{{name: "vent"}}, func(t *testing.T, s Status) { assert.Equal(t, GasOpen, s.Gas) }},
		"spunded":             {[]line{{name: "vent", amounts: map[string]float64{"pressure": 83}}}, func(t *testing.T, s Status) { assert.Equal(t, GasHeldAbove, s.Gas) }},
		"gas left on":         {[]line{{name: "gas", amounts: map[string]float64{"hold": 83}}}, func(t *testing.T, s Status) { assert.Equal(t, GasHeldBelow, s.Gas) }},
		"gas taken off again": {[]line{{name: "gas", amounts: map[string]float64{"hold": 83}}, {name: "gas", words: map[string]string{"hold": "off"}}}, func(t *testing.T, s Status) { assert.Equal(t, GasClosed, s.Gas) }},
		"a crash":             {[]line{{name: "crash", amounts: map[string]float64{"setpoint": 14.4}}}, func(t *testing.T, s Status) { assert.InDelta(t, 14.4, *s.SetpointCelsius, 0) }},
		"a rest cancels it":   {[]line{{name: "crash", amounts: map[string]float64{"setpoint": 14.4}}, {name: "rest"}}, func(t *testing.T, s Status) { assert.Nil(t, s.SetpointCelsius) }},
		"cold hops":           {[]line{{name: "dry-hop"}}, func(t *testing.T, s Status) { assert.Equal(t, began, s.HoppedSince) }},
		"hops during fermentation start no clock": {[]line{{name: "dry-hop", words: map[string]string{"kind": "active"}}}, func(t *testing.T, s Status) { assert.Zero(t, s.HoppedSince) }},
		"hops taken off": {[]line{{name: "dry-hop"}, {name: "hops-off"}}, func(t *testing.T, s Status) { assert.Zero(t, s.HoppedSince) }},
		"hands on":       {[]line{{name: "work", amounts: map[string]float64{"for": 2}}}, func(t *testing.T, s Status) { assert.Equal(t, began.Add(2*time.Hour), s.HandsOnUntil) }},
		"empty":          {[]line{{name: "empty"}}, func(t *testing.T, s Status) { assert.True(t, s.Empty) }},
		"packaged whole": {[]line{{name: "package"}}, func(t *testing.T, s Status) { assert.True(t, s.Empty) }},
		"packaged in part": {[]line{{name: "package", amounts: map[string]float64{"volume": 500}}}, func(t *testing.T, s Status) {
			assert.False(t, s.Empty)
			assert.Equal(t, began.Add(transferTime), s.HandsOnUntil)
		}},
		"a new batch": {[]line{{name: "empty"}, {name: "pitch", amounts: map[string]float64{"setpoint": 19}}}, func(t *testing.T, s Status) {
			assert.False(t, s.Empty)
			assert.InDelta(t, 19, *s.SetpointCelsius, 0)
		}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			for _, l := range tt.lines {
				b.log(l.name, l.amounts, l.words)
			}
			tt.check(t, b.tank.Status())
		})
	}
}

func TestWhatCannotBeJudgedYetIsSaid(t *testing.T) {
	b := newBench(t, Settings{})
	b.read("head-3", Pressure, 80)
	b.read("hyd-1", Gravity, 1.0118)
	said := fmt.Sprint(b.tank.Status().Learning)
	assert.Contains(t, said, "head-3: pressure cannot be judged without a beer temperature")
	assert.Contains(t, said, "learning the noise of hyd-1, 10 h to go")
	assert.Contains(t, said, "refermentation: waiting for a logged crash")
	assert.Contains(t, said, "until then pressure shows it only if it stood for a day before it climbs")
	b.log("pitch", nil, nil)
	assert.NotContains(t, fmt.Sprint(b.tank.Status().Learning), "pressure shows it", "it ferments on purpose")
}

// A tank that is closed as its spunding valve is set is closed up to that valve, in whichever order the two are written.
func TestATankIsClosedUpToItsSpundingValve(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		after time.Duration
		pitch bool // yeast goes in between the two
		want  Gas
	}{
		"of one moment":                {4 * time.Second, false, GasHeldAbove},
		"of one moment with the pitch": {4 * time.Second, true, GasHeldAbove},
		"an hour later":                {time.Hour, false, GasClosed},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t, Settings{})
			b.log("vent", map[string]float64{"pressure": 11}, nil)
			if tt.pitch {
				b.log("pitch", nil, nil)
			}
			b.pass(tt.after)
			b.log("seal", nil, nil)
			assert.Equal(t, tt.want, b.tank.state.Book.Gas)
		})
	}
}
