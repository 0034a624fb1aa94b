package scenario

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/cellarsim"
)

// night is all that a scenario hands over.
func played(t *testing.T, s *Scenario) (readings []detect.Reading, events []detect.Event) {
	t.Helper()
	last := s.Start
	require.NoError(t, s.Play(func(a cellarsim.Arrival) error {
		assert.False(t, a.Arrived.Before(last), "in order of arrival")
		assert.True(t, a.Arrived.Before(s.End()))
		last = a.Arrived
		readings = append(readings, a.Readings...)
		if a.Event != nil {
			events = append(events, *a.Event)
		}
		return nil
	}))
	return readings, events
}

func TestPlayIsTheSameEachTime(t *testing.T) {
	first, log := played(t, parse(t, bench))
	second, again := played(t, parse(t, bench))
	assert.Equal(t, first, second)
	assert.Equal(t, log, again)
	other, _ := played(t, parse(t, "cellar: seed 2\n"+simple))
	one, _ := played(t, parse(t, "cellar: seed 1\n"+simple))
	assert.NotEqual(t, one, other, "another seed, another noise")
}

const simple = "tank FV3: beer 20 hL\nprobe hyd-1: float\nexpect nothing else above low\n"

func TestPlayTellsTheLog(t *testing.T) {
	s := parse(t, bench)
	_, events := played(t, s)
	names := []string{}
	for _, e := range events {
		names = append(names, e.Name)
	}
	assert.Equal(t, []string{"crash", "vent", "dry-hop", "seal", "note"}, names)
	assert.Equal(t, s.Start, events[0].Arrived, "history is told when the scenario begins")
	assert.Equal(t, s.dayOne.Add(-14*time.Hour), events[0].Time)
	assert.Equal(t, "A 17, new", events[2].Word("lot"))
	assert.Equal(t, 9000.0, events[2].Amounts["mass"])
	assert.Equal(t, 45*time.Minute, events[3].Arrived.Sub(events[3].Time))
	assert.Equal(t, "looks fine # really", events[4].Word("note"))
}

func TestPlayGivesListedReadings(t *testing.T) {
	s := parse(t, bench)
	readings, _ := played(t, s)
	var values []float64
	var times []time.Duration
	for _, r := range readings {
		if r.Probe == "hand-1" {
			values = append(values, r.Value)
			times = append(times, r.Time.Sub(s.dayOne)-24*time.Hour)
		}
	}
	assert.InDeltaSlice(t, []float64{1.0140, 1.0140, 1.0140, 1.0135, 1.0130}, values, 1e-9)
	assert.Equal(t, []time.Duration{0, time.Hour, 3 * time.Hour, 4 * time.Hour, 5 * time.Hour}, times)
}

func TestPlayDropsRepeatsAndMarksLate(t *testing.T) {
	s := parse(t, "tank FV3: beer 20 hL\nprobe hyd-1: float, repeat 30 %, late 20 %, late-by 40 min\nexpect nothing else above low\n")
	readings, _ := played(t, s)
	seen, newest, late := map[identity]bool{}, map[curve]time.Time{}, 0
	for _, r := range readings {
		c := curve{r.Tank, r.Probe, r.Quantity}
		id := identity{c, r.Time.UnixMilli()}
		assert.False(t, seen[id], "a repeat at %s", r.Time)
		seen[id] = true
		assert.Equal(t, r.Time.Before(newest[c]), r.Late)
		if r.Late {
			late++
			continue
		}
		newest[c] = r.Time
	}
	assert.Positive(t, late)
}

func TestPlayStopsAtTheFirstError(t *testing.T) {
	stop, heard := errors.New("full"), 0
	err := parse(t, bench).Play(func(cellarsim.Arrival) error {
		heard++
		return stop
	})
	assert.ErrorIs(t, err, stop)
	assert.Equal(t, 1, heard)
}

func TestPlayNeedsATank(t *testing.T) {
	err := parse(t, "expect no leak\n").Play(func(cellarsim.Arrival) error { return nil })
	assert.ErrorIs(t, err, errNoTank)
	assert.ErrorContains(t, err, "night.scenario")
}

// TestMishapsBefall holds each mishap against what it does to the readings of the model.
func TestMishapsBefall(t *testing.T) {
	const tank = "cellar: days 2\ntank FV3: temperature 4 degC, pressure 60 kPa, room 21 degC\nprobe hyd-1: float, noise 0, wander 0\n" +
		"probe well-1: thermowell, noise 0\nprobe head-1: gauge, noise 0\nexpect nothing else above low\n"
	last := func(text string) map[detect.Quantity]float64 {
		readings, _ := played(t, parse(t, tank+text))
		out := map[detect.Quantity]float64{}
		for _, r := range readings {
			out[r.Quantity] = r.Value
		}
		return out
	}
	still := last("")
	assert.Greater(t, last("at day 1 12:00: cooling fails")[detect.Temperature], still[detect.Temperature]+3)
	assert.Less(t, last("at day 1 12:00: glycol runs")[detect.Temperature], still[detect.Temperature]-0.5)
	assert.Less(t, last("at day 1 12:00: leak 50 %")[detect.Pressure], still[detect.Pressure]-3)
	assert.Less(t, last("at day 1 06:00: creep 1 degP, ramp 2 h, decay 10 h")[detect.Gravity], still[detect.Gravity]-0.002)
	assert.Greater(t, last("at day 1 06:00: creep 1 degP, ramp 2 h, decay 10 h")[detect.Pressure], still[detect.Pressure]+10)
	assert.InDelta(t, still[detect.Gravity]+0.003, last("at day 1 12:00: shift hyd-1, by 0.003 SG")[detect.Gravity], 0.0003)
	assert.Greater(t, last("at day 1 12:00: gas to=90kPa, not logged")[detect.Pressure], still[detect.Pressure]+1)
	assert.Equal(t, still[detect.Pressure], last("at day 1 12:00: gas to=90kPa, only logged")[detect.Pressure])
	assert.InDelta(t, 0, last("at day 1 12:00: vent")[detect.Pressure], 0.2)
}

// A low lifts a gauge that has the air behind it, of a tank that is closed.
func TestAFrontIsPlayed(t *testing.T) {
	last := func(cellar string) float64 {
		value := 0.0
		s := parse(t, cellar+"\ntank FV3: temperature 14.4 degC\nprobe head-3: gauge, noise 0 kPa\nexpect nothing")
		require.NoError(t, s.Play(func(a cellarsim.Arrival) error {
			value = a.Readings[0].Value
			return nil
		}))
		return value
	}
	plain := last("cellar: days 1, weather 0.5 kPa")
	passed := last("cellar: days 1, weather 0.5 kPa, fronts day 1 12:00 by -2 kPa over 10 h")
	assert.InDelta(t, plain+2, passed, 0.11)
}
