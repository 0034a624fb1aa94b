package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestAnAlarmThatStandsHasTheFiguresOfNow(t *testing.T) {
	setpoint, later := 14.4, time.Date(2026, 3, 2, 5, 0, 0, 0, time.UTC)
	s := detect.Status{
		SetpointCelsius: &setpoint, ReliefKPa: 100, CO2Rate: &detect.Interval{Value: 0.5, Low: 0.4, High: 0.6},
		Last: map[detect.Quantity]detect.Latest{
			detect.Gravity:     {Value: 1.0112, Time: later.Add(-time.Hour)},
			detect.Temperature: {Value: 16.1, Time: later},
			detect.Pressure:    {Value: 93.2, Time: later},
		},
	}
	words := Words{Display: detect.Display{Temperature: "degF", Pressure: "psi"}}
	tests := map[detect.Alarm]string{
		detect.CrashDrift:     "beer 61.0 degF, setpoint 57.9 degF",
		detect.OverPressure:   "head 13.5 psi, relief valve 14.5 psi",
		detect.Leak:           "head 13.5 psi",
		detect.FreezeRisk:     "beer 61.0 degF",
		detect.NotFinished:    "gravity 1.0112 SG",
		detect.Refermentation: "gravity 1.0112 SG, head 13.5 psi, CO2 made 0.50 g/L a day",
	}
	for alarm, expected := range tests {
		n := nowOf(alarm, s)
		require.NotNil(t, n, alarm)
		assert.Equal(t, expected, words.Now(*n), alarm)
	}
	assert.Equal(t, later.Add(-time.Hour), nowOf(detect.Refermentation, s).Time, "as old as its oldest figure")
	assert.Nil(t, nowOf(detect.ProbeSilent, s), "it is about no figure")
	assert.Nil(t, nowOf(detect.CrashDrift, detect.Status{}), "nothing was read")
}

func TestOfTwoGaugesTheWorseIsShown(t *testing.T) {
	later := time.Date(2026, 3, 2, 5, 0, 0, 0, time.UTC)
	s := detect.Status{
		Last:   map[detect.Quantity]detect.Latest{detect.Pressure: {Value: 80, Time: later, Probe: "head-b"}},
		Gauges: []detect.Latest{{Value: 104, Time: later.Add(-time.Minute), Probe: "head-a"}, {Value: 80, Time: later, Probe: "head-b"}},
	}
	n := nowOf(detect.OverPressure, s)
	assert.InDelta(t, 104, *n.PressureKPa, 0)
	assert.Equal(t, later.Add(-time.Minute), n.Time, "as old as that reading")
	assert.InDelta(t, 80, *nowOf(detect.Vacuum, s).PressureKPa, 0)
	assert.InDelta(t, 80, *nowOf(detect.Leak, s).PressureKPa, 0, "the newest")
	s.Last[detect.Pressure] = detect.Latest{Value: 110, Time: later, Probe: "head-b"}
	assert.InDelta(t, 110, *nowOf(detect.OverPressure, s).PressureKPa, 0, "it is not held back until it is believed")
	s.Last[detect.Pressure] = detect.Latest{Value: 80, Time: later, Probe: "head-b"}
	s.Probes = []detect.ProbeStatus{{Probe: "head-a", Out: true}}
	assert.InDelta(t, 80, *nowOf(detect.OverPressure, s).PressureKPa, 0, "it was taken out")
	s.Probes, s.Gauges[0].Time = nil, later.Add(-2*time.Hour)
	assert.InDelta(t, 80, *nowOf(detect.OverPressure, s).PressureKPa, 0, "it says nothing any more")
}

func TestTheViewShowsTheWorseOfTwoGauges(t *testing.T) {
	w := NewWatch(Options{Tanks: map[string]detect.Settings{"FV3": {ReliefKPa: 100}}})
	for clock, kPa := range map[string]float64{"01:00": 104, "01:01": 104, "01:02": 104} {
		w.Take(detect.Reading{Tank: "FV3", Probe: "head-a", Quantity: detect.Pressure, Time: at(clock), Arrived: at(clock), Value: kPa})
	}
	w.Advance(at("01:03"))
	w.Take(detect.Reading{Tank: "FV3", Probe: "head-b", Quantity: detect.Pressure, Time: at("01:04"), Arrived: at("01:04"), Value: 80})
	require.Len(t, w.View().Incidents, 1)
	assert.InDelta(t, 104, *w.View().Incidents[0].Now.PressureKPa, 1e-9)
}

func TestTheViewShowsTheFiguresOfNowBesideThoseOfTheCall(t *testing.T) {
	w := NewWatch(Options{Tanks: map[string]detect.Settings{"FV3": {ReliefKPa: 100}}})
	say := func(clock string, kPa float64) {
		w.Take(detect.Reading{Tank: "FV3", Probe: "head-3", Quantity: detect.Pressure, Time: at(clock), Arrived: at(clock), Value: kPa})
	}
	for clock, kPa := range map[string]float64{"01:00": 95, "01:01": 95, "01:02": 95} {
		say(clock, kPa)
	}
	w.Advance(at("01:05"))
	say("01:06", 97)
	view := w.View()
	require.Len(t, view.Incidents, 1)
	called := view.Incidents[0]
	require.Equal(t, detect.OverPressure, called.Alarm)
	assert.InDelta(t, 95, *called.Evidence.PressureKPa, 1e-9, "of the call")
	require.NotNil(t, called.Now)
	assert.InDelta(t, 97, *called.Now.PressureKPa, 1e-9)
	assert.Equal(t, at("01:06"), called.Now.Time)
	assert.Equal(t, called, view.Tanks[0].Incidents[0])
}

func TestSinceMeansTheSameOnPageAndPhone(t *testing.T) {
	called, onset := at("03:00"), at("01:20")
	i := Incident{Tank: "FV3", Alarm: detect.Leak, State: Unacknowledged, Since: called, Onset: onset}
	m := Message{Transition: Transition{Tank: "FV3", Alarm: detect.Leak, From: Normal, To: Unacknowledged, Time: called, Onset: onset}}
	assert.Contains(t, Words{}.Headline(m), "since "+Words{}.When(i.Began(), called))
	i.Onset, m.Onset = time.Time{}, time.Time{}
	assert.Contains(t, Words{}.Headline(m), "since "+Words{}.When(i.Began(), called))
}
