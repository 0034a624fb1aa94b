package cellarsim

import (
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// troubled is a plan with everything a radio can do, and weather.
func troubled() Plan {
	bad := Radio{
		Delay: time.Second, Jitter: 5 * time.Second, LossShare: 0.02, RepeatShare: 0.05, LateShare: 0.05,
		LateBy: 15 * time.Minute, GapsPerDay: 3, GapLength: time.Hour, Buffered: true,
	}
	one, two := Unitank("FV1"), Unitank("FV2")
	float, gauge := Hydrometer("hyd"), HeadGauge("head")
	float.Radio, gauge.Radio, gauge.Shape = bad, bad, BareNumber
	one.Probes, two.Probes = []Probe{float, gauge}, []Probe{gauge, Thermowell("well")}
	one.Script = append(dryHop(3*time.Hour, 9000, "A-17", 0.1),
		Act{At: 10 * time.Hour, Do: Creep{Plato: 0.5, Ramp: 10 * time.Hour, Decay: 20 * time.Hour}})
	return Plan{Start: monday(), Tanks: []Tank{one, two}, Weather: Weather{Sigma: 1}}
}

// messages runs a plan, stopping at each of the times given.
func messages(t require.TestingT, plan Plan, seed uint64, stops ...time.Duration) (all []Message) {
	c, err := New(plan, seeded(seed))
	require.NoError(t, err)
	for _, stop := range stops {
		require.NoError(t, c.Run(monday().Add(stop), func(m Message) error {
			all = append(all, m)
			return nil
		}))
	}
	return all
}

func TestSameSeedSameMessagesInWhateverStepsItIsRun(t *testing.T) {
	const end = 16 * time.Hour
	want := messages(t, troubled(), 9, end)
	require.Greater(t, len(want), 1000)
	for i := 1; i < len(want); i++ {
		require.False(t, want[i].Arrived.Before(want[i-1].Arrived))
	}
	assert.NotEqual(t, want, messages(t, troubled(), 10, end), "another seed, another night")
	rapid.Check(t, func(t *rapid.T) {
		var stops []time.Duration
		at := time.Duration(0)
		for at < end {
			at = min(end, at+time.Duration(rapid.Int64Range(0, int64(4*time.Hour)).Draw(t, "run on by")))
			stops = append(stops, at)
		}
		if got := messages(t, troubled(), 9, stops...); !assert.ObjectsAreEqual(want, got) {
			t.Fatalf("stopping at %v gives other messages", stops)
		}
	})
}

func TestRunHandsOverWhatArrivesBefore(t *testing.T) {
	p := Probe{Name: "p", Interval: time.Minute, Pressure: &Sense{}}
	all := messages(t, Plan{Start: monday(), Tanks: []Tank{watched(p)}}, 1, 3*time.Minute)
	assert.Len(t, all, 3, "at 0, 1 and 2 minutes; the one at 3 belongs to the next run")
}

func TestTheTankDoesNotCareWhoWatches(t *testing.T) {
	bare, full := troubled(), troubled()
	bare.Tanks[0].Probes = nil
	end := func(plan Plan) Truth {
		c, err := New(plan, seeded(9))
		require.NoError(t, err)
		require.NoError(t, c.Each(monday().Add(24*time.Hour), func(Arrival) error { return nil }))
		truth, _ := c.Truth("FV1")
		return truth
	}
	assert.Equal(t, end(full), end(bare))
}

func TestAnErrorStopsTheRunAndTheNextGoesOn(t *testing.T) {
	want := messages(t, troubled(), 9, 3*time.Hour)
	c, err := New(troubled(), seeded(9))
	require.NoError(t, err)
	full := errors.New("broker full")
	var got []Message
	fail := true
	hear := func(m Message) error {
		got = append(got, m)
		if fail && len(got) == 100 {
			return full
		}
		return nil
	}
	require.ErrorIs(t, c.Run(monday().Add(3*time.Hour), hear), full)
	require.Len(t, got, 100)
	fail = false
	require.NoError(t, c.Run(monday().Add(3*time.Hour), hear))
	assert.Equal(t, want, got)
}

func TestWeatherIsOneOverAllTanks(t *testing.T) {
	plan := troubled()
	air := map[time.Time]map[float64]bool{}
	plan.Observe = func(s Truth) {
		if air[s.Time] == nil {
			air[s.Time] = map[float64]bool{}
		}
		air[s.Time][s.AtmosphereKPa] = true
	}
	messages(t, plan, 2, 12*time.Hour)
	assert.Len(t, air, 12*60)
	for at, seen := range air {
		assert.Len(t, seen, 1, "at %s", at)
	}
}

func TestTruthOfNoTank(t *testing.T) {
	_, ok := alone(t, still()).Truth("FV9")
	assert.False(t, ok)
}

func TestOnsetsAreTheScripts(t *testing.T) {
	assert.Equal(t, []time.Time{monday().Add(10 * time.Hour)}, troubled().Onsets("FV1"))
	assert.Empty(t, troubled().Onsets("FV2"))
}

func TestAPlanThatCannotBeIsRefused(t *testing.T) {
	probe := Probe{Name: "p", Interval: time.Minute, Pressure: &Sense{}}
	with := func(change func(*Tank)) Plan {
		tank := still()
		tank.Probes = []Probe{probe}
		change(&tank)
		return Plan{Tanks: []Tank{tank}}
	}
	probed := func(change func(*Probe)) Plan {
		return with(func(t *Tank) { change(&t.Probes[0]) })
	}
	for want, plan := range map[string]Plan{
		"at least one tank":               {},
		"a second is the least":           {Step: time.Millisecond, Tanks: []Tank{still()}},
		"two tanks are called FV1":        {Tanks: []Tank{still(), still()}},
		"it lasts -1h0m0s and returns":    {Weather: Weather{Fronts: []Front{{Lasts: -time.Hour}}}, Tanks: []Tank{still()}},
		"returns over -1ns":               {Weather: Weather{Fronts: []Front{{Returns: -1}}}, Tanks: []Tank{still()}},
		`tank "FV 1": a name is`:          with(func(t *Tank) { t.Name = "FV 1" }),
		"headspace liters is 0":           with(func(t *Tank) { t.HeadspaceLiters = 0 }),
		"extract degP is 40":              with(func(t *Tank) { t.ExtractPlato = 40 }),
		"air share is 1.2":                with(func(t *Tank) { t.Air = 1.2 }),
		"two probes are called p":         with(func(t *Tank) { t.Probes = []Probe{probe, probe} }),
		"the tank has no probe \"q\"":     with(func(t *Tank) { t.Script = []Act{{Do: ProbeSticks{Probe: "q"}}} }),
		"it does nothing":                 with(func(t *Tank) { t.Script = []Act{{}} }),
		"told 1m0s before it happens":     with(func(t *Tank) { t.Script = []Act{{Do: Vent{}, Told: -time.Minute}} }),
		"Air is a share":                  with(func(t *Tank) { t.Script = []Act{{Do: Seal{Air: 2}}} }),
		"SpundAt: KPa is above 0":         with(func(t *Tank) { t.Script = []Act{{Do: SpundAt{}}} }),
		"GasHold: KPa is above 0":         with(func(t *Tank) { t.Script = []Act{{Do: GasHold{}}} }),
		"Decay is above 0":                with(func(t *Tank) { t.Script = []Act{{Do: Creep{Plato: 1}}} }),
		"Spread is above 0":               with(func(t *Tank) { t.Script = []Act{{Do: Pitch{Original: 12}}} }),
		"measures nothing":                probed(func(p *Probe) { p.Pressure = nil }),
		"interval 1ms":                    probed(func(p *Probe) { p.Interval = time.Millisecond }),
		"lies before the start":           probed(func(p *Probe) { p.Phase = -1 }),
		`probe "": a name is`:             probed(func(p *Probe) { p.Name = "" }),
		"a share of messages is 2":        probed(func(p *Probe) { p.Radio.LossShare = 2 }),
		"its radio has a negative figure": probed(func(p *Probe) { p.Radio.Delay = -1 }),
	} {
		_, err := New(plan, rand.New(rand.NewPCG(1, 1)))
		assert.ErrorContains(t, err, want)
	}
}

// BenchmarkTankYear is a year of one tank: a float every 10 minutes, a gauge every minute, the typed stream.
func BenchmarkTankYear(b *testing.B) {
	tank := Unitank("FV1")
	gauge := HeadGauge("head")
	gauge.Interval = time.Minute
	tank.Probes = []Probe{Hydrometer("hyd"), gauge}
	tank.Script = []Act{{At: time.Hour, Do: Creep{Plato: 0.5, Ramp: 12 * time.Hour, Decay: 48 * time.Hour}}}
	for b.Loop() {
		c, err := New(Plan{Start: monday(), Tanks: []Tank{tank}, Weather: Weather{Sigma: 1}}, seeded(1))
		require.NoError(b, err)
		heard := 0
		require.NoError(b, c.Each(monday().AddDate(1, 0, 0), func(a Arrival) error {
			heard += len(a.Readings)
			return nil
		}))
		require.Greater(b, heard, 600_000)
	}
}
