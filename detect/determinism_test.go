package detect_test

import (
	"encoding/json"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
	"spile/detect/cellarsim"
)

// heard is one thing that a tank is told, in the order of the journal.
type heard struct {
	reading *detect.Reading
	event   *detect.Event
}

func (h heard) arrived() time.Time {
	if h.reading != nil {
		return h.reading.Arrived
	}
	return h.event.Arrived
}

// creepingTank is what is heard of a tank that is hopped, handled, and begins
// to ferment again, over a radio that repeats and delays.
var creepingTank = sync.OnceValue(func() []heard { return creeping(cellarsim.Weather{}) })

// creepingInWeather is the same under weather, beside two barometers of the site that speak at the moments of the others.
var creepingInWeather = sync.OnceValue(func() []heard {
	one, other := cellarsim.Barometer("baro-1"), cellarsim.Barometer("baro-2")
	one.Interval, other.Interval = 20*time.Minute, 20*time.Minute
	return creeping(cellarsim.Weather{Sigma: 1}, one, other)
})

func creeping(weather cellarsim.Weather, more ...cellarsim.Probe) []heard {
	hour := func(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
	u := cellarsim.Unitank("FV1")
	float := cellarsim.Hydrometer("hyd-1")
	float.Radio = cellarsim.Radio{RepeatShare: 0.02, LateShare: 0.02, LateBy: 30 * time.Minute, GapsPerDay: 0.5, GapLength: time.Hour}
	gauge := cellarsim.HeadGauge("head-1")
	gauge.Interval = 5 * time.Minute
	u.Probes = append([]cellarsim.Probe{float, cellarsim.Thermowell("well-1"), gauge}, more...)
	u.Script = []cellarsim.Act{
		{At: hour(-20), Do: cellarsim.Crash{Celsius: 14.4}},
		{At: hour(2), Do: cellarsim.Vent{}},
		{At: hour(2.2), Do: cellarsim.Hop{Grams: 8000}},
		{At: hour(2.4), Do: cellarsim.Seal{Air: 0.1}},
		{At: hour(9), Do: cellarsim.TopUp{KPa: 85}, Unlogged: true},
		{At: hour(20), Do: cellarsim.Creep{Plato: 0.9, Ramp: hour(12), Decay: hour(30)}},
		{At: hour(40), Do: cellarsim.CoolingFails{}},
	}
	c, err := cellarsim.New(cellarsim.Plan{Start: began, Weather: weather, Tanks: []cellarsim.Tank{u}}, rand.New(rand.NewPCG(11, 11)))
	if err != nil {
		panic(err)
	}
	var out []heard
	newest := map[string]time.Time{}
	err = c.Each(began.Add(hour(56)), func(a cellarsim.Arrival) error {
		if a.Event != nil {
			out = append(out, heard{event: a.Event})
		}
		for _, r := range a.Readings {
			series := r.Probe + " " + string(r.Quantity)
			if r.Time.Equal(newest[series]) {
				continue // the journal keeps a repeat once
			}
			r.Late = r.Time.Before(newest[series])
			if !r.Late {
				newest[series] = r.Time
			}
			out = append(out, heard{reading: &r})
		}
		return nil
	})
	if err != nil {
		panic(err)
	}
	return out
}

func creepingSettings() detect.Settings {
	return detect.Settings{
		BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 150, At: map[string]detect.Place{"baro-1": detect.Outside, "baro-2": detect.Outside},
	}
}

// began is when the tanks of these tests begin.
var began = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// play tells a tank what was heard, ticking each minute; after is called before each.
func play(t require.TestingT, story []heard, before func(i int, tank *detect.Tank) *detect.Tank) []string {
	tank := detect.NewTank("FV1", creepingSettings())
	var out []string
	note := func(found []detect.Finding) {
		for _, f := range found {
			line, err := json.Marshal(f)
			require.NoError(t, err)
			out = append(out, string(line))
		}
	}
	minute := began
	for i, h := range story {
		tank = before(i, tank)
		for next := minute.Add(time.Minute); !next.After(h.arrived()); next = next.Add(time.Minute) {
			minute = next
			note(tank.Tick(next))
		}
		if h.event != nil {
			note(tank.Log(*h.event))
			continue
		}
		note(tank.Take(*h.reading))
	}
	return out
}

// loneGauge is the same tank without its float, whose thermometer is heard for an hour now and then.
func loneGauge() []heard {
	var out []heard
	for _, h := range creepingTank() {
		if r := h.reading; r != nil && r.Quantity != detect.Pressure {
			if past := r.Time.Sub(began).Hours(); r.Probe == "hyd-1" || past > 8 && past < 46 || past > 47 {
				continue
			}
		}
		out = append(out, h)
	}
	return out
}

func asItIs(_ int, tank *detect.Tank) *detect.Tank { return tank }

func TestARestartAtAnyReadingChangesNothing(t *testing.T) {
	for name, story := range map[string][]heard{"every probe": creepingInWeather(), "a gauge alone": loneGauge()} {
		t.Run(name, func(t *testing.T) { requireNoRestart(t, story) })
	}
}

func requireNoRestart(t *testing.T, story []heard) {
	want := play(t, story, asItIs)
	require.NotEmpty(t, want)
	rapid.Check(t, func(t *rapid.T) {
		stops := map[int]bool{}
		for range rapid.IntRange(1, 4).Draw(t, "restarts") {
			stops[rapid.IntRange(0, len(story)-1).Draw(t, "at")] = true
		}
		got := play(t, story, func(i int, tank *detect.Tank) *detect.Tank {
			if !stops[i] {
				return tank
			}
			body, err := json.Marshal(tank)
			require.NoError(t, err)
			again := detect.NewTank("FV1", creepingSettings())
			require.NoError(t, json.Unmarshal(body, again))
			return again
		})
		require.Equal(t, want, got)
	})
}

// Messages of different probes that arrive at the same moment may be journalled in either order.
func TestTheOrderOfProbesAtOneMomentChangesNothing(t *testing.T) {
	for name, story := range map[string][]heard{"every probe": creepingInWeather(), "a gauge alone": loneGauge()} {
		t.Run(name, func(t *testing.T) { requireNoOrder(t, story) })
	}
}

func requireNoOrder(t *testing.T, story []heard) {
	want := play(t, story, asItIs)
	rapid.Check(t, func(t *rapid.T) {
		swapped := append([]heard(nil), story...)
		for i := 1; i < len(swapped); i++ {
			a, b := swapped[i-1], swapped[i]
			if a.reading == nil || b.reading == nil || a.reading.Probe == b.reading.Probe || !a.arrived().Equal(b.arrived()) {
				continue
			}
			if rapid.Bool().Draw(t, "swap") {
				swapped[i-1], swapped[i] = b, a
			}
		}
		require.Equal(t, want, play(t, swapped, asItIs))
	})
}

func TestACallSaysWhatTheWeatherDid(t *testing.T) {
	assert.Contains(t, strings.Join(play(t, creepingInWeather(), asItIs), "\n"), "the weather: by barometer baro-1 the air has changed by ")
	unheard := slices.DeleteFunc(slices.Clone(creepingInWeather()), func(h heard) bool { return h.reading != nil && strings.HasPrefix(h.reading.Probe, "baro-") })
	assert.NotContains(t, strings.Join(play(t, unheard, asItIs), "\n"), "barometer")
}

func TestALateReadingIsNotJudged(t *testing.T) {
	story := creepingTank()
	var onTime []heard
	for _, h := range story {
		if h.reading == nil || !h.reading.Late {
			onTime = append(onTime, h)
		}
	}
	require.Less(t, len(onTime), len(story))
	assert.Equal(t, play(t, onTime, asItIs), play(t, story, asItIs))
}

func TestSnapshotsOfNonsenseAreRefused(t *testing.T) {
	tank := detect.NewTank("FV1", detect.Settings{})
	require.Error(t, tank.UnmarshalJSON([]byte(`{"Now":7}`)))
	require.Equal(t, "FV1", tank.Status().Tank)
}
