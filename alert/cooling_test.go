package alert

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// warm is a tank that holds a setpoint of 4 degC and drifts once its beer is a degree over it.
type warm struct {
	name    string
	Celsius float64
	At      time.Time
	Hands   time.Time
	Over    bool
}

func (w *warm) Take(r detect.Reading) []detect.Finding {
	w.Celsius, w.At = r.Value, r.Time
	was := w.Over
	w.Over = r.Value > 5 || r.Value < 2.5
	if w.Over == was {
		return nil
	}
	setpoint := 4.0
	return []detect.Finding{{
		Alarm: detect.CrashDrift, Active: w.Over, Time: r.Arrived, Onset: r.Time, Summary: w.name + " drifts",
		Evidence: detect.Evidence{TemperatureCelsius: &r.Value, SetpointCelsius: &setpoint},
	}}
}

func (w *warm) Log(e detect.Event) []detect.Finding {
	w.Hands = e.Arrived.Add(time.Hour)
	return nil
}

func (w *warm) Tick(time.Time) []detect.Finding { return nil }
func (w *warm) Away(time.Time, time.Time)       {}
func (w *warm) Air(detect.Reading)              {}
func (w *warm) Receive(detect.Event)            {}
func (w *warm) Status() detect.Status {
	setpoint := 4.0
	return detect.Status{
		Tank: w.name, SetpointCelsius: &setpoint, HandsOnUntil: w.Hands,
		Last: map[detect.Quantity]detect.Latest{detect.Temperature: {Value: w.Celsius, Time: w.At, Probe: "well"}},
	}
}

func (w *warm) MarshalJSON() ([]byte, error) {
	type plain warm
	return json.Marshal((*plain)(w))
}

func (w *warm) UnmarshalJSON(body []byte) error {
	type plain warm
	return json.Unmarshal(body, (*plain)(w))
}

// cold is a scene of such tanks.
func cold() *scene {
	s := &scene{Watch: newWatch(Options{Site: "test", Policy: Policy{Webhooks: []Webhook{{Name: "phone"}}}},
		func(name string, _ detect.Settings) tank { return &warm{name: name, Celsius: 4} })}
	s.note(s.Advance(midnight))
	return s
}

// read has a tank's thermometer say something.
func (s *scene) read(clock, tank string, celsius float64) {
	s.note(s.Take(detect.Reading{Tank: tank, Probe: "well", Quantity: detect.Temperature, Time: at(clock), Arrived: at(clock), Value: celsius}))
}

func TestTanksThatWarmTogetherAreOneIncident(t *testing.T) {
	s := cold()
	s.read("01:00", "FV2", 5.1)
	s.read("01:10", "FV3", 5.6)
	s.note(s.Advance(at("01:20")))
	assert.Equal(t, []string{
		"01:20  cooling-plant high normal>unacknowledged", "01:20 FV2 crash-drift high normal>suppressed",
	}, s.lines(), "when the first of them would call")
	assert.Equal(t, "explained by cooling-plant", s.told[1].Why)
	assert.Equal(t, at("01:00"), s.told[0].Onset)
	assert.Equal(t, []string{
		"Cellar: cooling: FV2, FV3 are warming, since 01:00",
		"FV3 5.6 degC, 0.6 degC past its limit; FV2 5.1 degC, 0.1 degC past its limit",
		"Is the chiller running, is glycol cold, is its pump on? The first tank of the list has the least time.",
		"Closed beer that warms builds pressure: read its gauge, keep clear of relief, loosen no clamp or manway. " +
			"CO2 may fill the room: meter first, do not go alone.",
	}, strings.Split(Words{}.Text(s.Notices()[0].Message), "\n"))

	s.read("03:00", "FV4", 5.2)
	s.note(s.Advance(at("04:00")))
	assert.Equal(t, []string{"01:30 FV3 crash-drift high normal>suppressed", "03:20 FV4 crash-drift high normal>suppressed"}, s.lines()[2:])
	assert.Equal(t, "cooling: FV2, FV3, FV4 are warming", s.View().Incidents[0].Summary)
	assert.Empty(t, s.rings(), "one call")

	for i, tank := range []string{"FV2", "FV3", "FV4"} {
		s.read([]string{"04:10", "04:20", "04:40"}[i], tank, 4)
	}
	s.note(s.Advance(at("04:49")))
	assert.Equal(t, Unacknowledged, s.View().Incidents[0].State)
	s.note(s.Advance(at("05:00")))
	assert.Equal(t, []string{
		"04:20 FV2 crash-drift high suppressed>normal", "04:30 FV3 crash-drift high suppressed>normal",
		"04:50 FV4 crash-drift high suppressed>normal", "04:51  cooling-plant high unacknowledged>returned",
	}, s.lines()[4:])
	assert.Equal(t, []string{"04:51 phone returned"}, s.rings())
}

// One that climbs is called ahead: it is not at its limit yet.
func TestATankThatIsCalledAheadIsUnderItsLimit(t *testing.T) {
	s := cold()
	s.read("01:00", "FV2", 4.8)
	assert.Equal(t, []string{"FV2 4.8 degC, 0.2 degC under its limit"}, s.plantFinding([]string{"FV2"}, at("01:00")).Evidence.Witnesses)
	s.read("01:10", "FV2", 4.98)
	assert.Equal(t, []string{"FV2 5.0 degC, at its limit"}, s.plantFinding([]string{"FV2"}, at("01:00")).Evidence.Witnesses)
}

func TestOneTankIsNotThePlant(t *testing.T) {
	for name, play := range map[string]func(s *scene){
		"alone":                   func(*scene) {},
		"more than an hour apart": func(s *scene) { s.read("02:01", "FV3", 5.6) },
		"the other too cold":      func(s *scene) { s.read("01:10", "FV3", 2.0) },
		"the other is worked on": func(s *scene) {
			s.log("01:05", "FV3", "work", nil)
			s.read("01:10", "FV3", 5.6)
		},
		"the other only for a moment": func(s *scene) {
			s.read("01:10", "FV3", 5.6)
			s.read("01:15", "FV3", 4.2)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := cold()
			s.read("01:00", "FV2", 5.1)
			play(s)
			s.note(s.Advance(at("02:02")))
			assert.Equal(t, "01:20 FV2 crash-drift high normal>unacknowledged", s.lines()[0])
			assert.Nil(t, s.cellar.find(CoolingPlant, ""))
		})
	}
}

func TestATankThatIsTooColdIsAnotherMatter(t *testing.T) {
	s := cold()
	s.read("01:00", "FV2", 5.1)
	s.read("01:00", "FV3", 5.1)
	s.read("01:00", "FV4", 2.0)
	s.note(s.Advance(at("01:20")))
	assert.Equal(t, "01:20 FV4 crash-drift high normal>unacknowledged", s.lines()[3])
}

func TestTanksOnTheirWayAreListedByTheHoursLeft(t *testing.T) {
	s := cold()
	for i := range 7 { // FV4 warms by 0.6 degC an hour, FV5 by 0.3
		clock := at("00:00").Add(time.Duration(i) * 10 * time.Minute).Format("15:04")
		s.read(clock, "FV5", 4+0.05*float64(i))
		s.read(clock, "FV4", 4+0.1*float64(i))
		s.read(clock, "FV6", 4)
	}
	s.read("01:00", "FV2", 5.1)
	s.read("01:00", "FV3", 5.2)
	s.note(s.Advance(at("01:20")))
	require.NotEmpty(t, s.told)
	assert.Equal(t, []string{
		"FV3 5.2 degC, 0.2 degC past its limit", "FV2 5.1 degC, 0.1 degC past its limit",
		"FV4 4.6 degC, 0.3 h to its limit", "FV5 4.3 degC, 2.0 h to its limit",
	}, s.told[0].Evidence.Witnesses)
}
