package cellarsim

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// reading is one of FV3's, at a quarter past one.
func reading(q detect.Quantity, value float64) detect.Reading {
	at := time.Date(2026, 3, 2, 1, 15, 0, 250e6, time.UTC)
	return detect.Reading{Tank: "FV3", Probe: "hyd-1", Quantity: q, Time: at, Value: value, Raw: value, Arrived: at}
}

func TestShapesOfMessages(t *testing.T) {
	float := []detect.Reading{reading(detect.Gravity, 1.0118), reading(detect.Temperature, 14.4)}
	gauge := []detect.Reading{reading(detect.Pressure, 82.1)}
	for _, c := range []struct {
		name           string
		readings       []detect.Reading
		shape          Shape
		topic, payload string
	}{
		{"flat", float, Flat, "cellar/FV3/hyd-1", `{"time":"2026-03-02T01:15:00.25Z","gravity":1.0118,"temperature":14.4}`},
		{"with units", float, FlatUnits, "cellar/FV3/hyd-1", `{"time":"2026-03-02T01:15:00.25Z",` +
			`"gravity":{"value":3.017,"unit":"degP"},"temperature":{"value":57.92,"unit":"degF"}}`},
		{"psi", gauge, FlatUnits, "cellar/FV3/hyd-1",
			`{"time":"2026-03-02T01:15:00.25Z","pressure":{"value":11.908,"unit":"psi"}}`},
		{"bare", gauge, BareNumber, "cellar/FV3/hyd-1/pressure", `82.1`},
		{"SenML", float, SenML, "cellar/FV3/hyd-1", `[{"bn":"FV3/hyd-1/","bt":1772414100.25,` +
			`"n":"gravity","u":"/","v":1.0118},{"n":"temperature","u":"Cel","v":14.4}]`},
		{"SenML pressure", gauge, SenML, "cellar/FV3/hyd-1",
			`[{"bn":"FV3/hyd-1/","bt":1772414100.25,"n":"pressure","u":"Pa","v":82100}]`},
		{"SenML under the air", []detect.Reading{reading(detect.Pressure, -1.3)}, SenML, "cellar/FV3/hyd-1",
			`[{"bn":"FV3/hyd-1/","bt":1772414100.25,"n":"pressure","u":"Pa","v":-1300}]`},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := Arrival{Readings: c.readings, Shape: c.shape}.Message()
			assert.Equal(t, c.topic, m.Topic)
			assert.Equal(t, c.payload, string(m.Payload))
			assert.True(t, json.Valid(m.Payload))
		})
	}
}

func TestAProbeSaysHowItFares(t *testing.T) {
	p := Probe{Name: "hyd-1", Interval: time.Hour, Gravity: &Sense{}, Battery: 87, Signal: -71}
	var payloads []string
	require.NoError(t, alone(t, watched(p)).Run(monday().Add(2*time.Hour), func(m Message) error {
		payloads = append(payloads, string(m.Payload))
		return nil
	}))
	require.NotEmpty(t, payloads)
	for _, payload := range payloads {
		assert.Contains(t, payload, `,"battery":87,"signal":-71}`)
	}
}

func TestABareNumberHasItsArrivalForItsTime(t *testing.T) {
	p := Probe{Name: "head", Interval: time.Hour, Pressure: &Sense{}, Temperature: &Sense{}, Shape: BareNumber,
		Radio: Radio{Delay: 3 * time.Second}}
	all := heard(t, watched(p), 3*time.Hour)
	require.Len(t, all[detect.Pressure], 3)
	require.Len(t, all[detect.Temperature], 3)
	for _, r := range append(all[detect.Pressure], all[detect.Temperature]...) {
		assert.Equal(t, r.Arrived, r.Time)
	}
}

// Every deed's log line must be one that the cellar log takes, and must come back as the event the typed stream holds.
func TestLogLinesAreWhatTheLogTakes(t *testing.T) {
	tank := still()
	for i, d := range []Deed{
		Pitch{Original: 12.4, End: 2.6, Half: 48 * time.Hour, Spread: 10 * time.Hour, Beer: "Tin Heron Pale", Liters: 2000, Setpoint: 19},
		Crash{Celsius: 14.4}, Crash{Celsius: 0}, Dump{Liters: 40}, Dump{Liters: 40, Hops: true}, Dump{},
		Vent{}, Hop{Grams: 9000, Lot: "A-17"}, Hop{Grams: 9000, Active: true}, Seal{}, SpundAt{KPa: 85},
		GasHold{KPa: 80}, GasOff{}, TopUp{KPa: 90}, Rouse{KPa: 100}, Add{What: "cherries", Grams: 50000, Plato: 0.4},
		Sample{Liters: 0.5}, Transfer{To: "FV4", Liters: 100},
		Line{Event: "vdk", Words: map[string]string{"result": "pass"}},
		Line{Event: "gravity", Amounts: map[string]float64{"value": 1.0118}},
	} {
		tank.Script = append(tank.Script, Act{At: time.Duration(i) * time.Minute, Do: d, Told: time.Second})
	}
	lines := 0
	require.NoError(t, alone(t, tank).Each(monday().Add(time.Hour), func(a Arrival) error {
		m := a.Message()
		assert.Equal(t, "cellar/FV1/log", m.Topic)
		var fields map[string]any
		require.NoError(t, json.Unmarshal(m.Payload, &fields))
		event, err := detect.ParseEvent("FV1", fields, a.Arrived)
		require.NoError(t, err, "%s", m.Payload)
		assert.Equal(t, a.Event.Name, event.Name)
		assert.Equal(t, a.Event.Time, event.Time)
		assert.Len(t, event.Amounts, len(a.Event.Amounts), "%s", m.Payload)
		for field, value := range a.Event.Amounts {
			assert.InDelta(t, value, event.Amounts[field], 1e-9, "%s of %s", field, m.Payload)
		}
		for field, word := range a.Event.Words {
			assert.Equal(t, word, event.Words[field], "%s of %s", field, m.Payload)
		}
		lines++
		return nil
	}))
	assert.Equal(t, len(tank.Script), lines)
}

func TestTheLogIsToldLateOrNotAtAll(t *testing.T) {
	tank := still(
		Act{At: -48 * time.Hour, Do: Crash{Celsius: 14.4}},
		Act{At: time.Hour, Do: Vent{}, Unlogged: true},
		Act{At: 2 * time.Hour, Do: Seal{}, Told: 5 * time.Hour},
		Act{At: 3 * time.Hour, Do: CoolingFails{}},
	)
	var told []string
	require.NoError(t, alone(t, tank).Each(monday().Add(24*time.Hour), func(a Arrival) error {
		told = append(told, a.Event.Name+" "+a.Event.Time.Sub(monday()).String()+" "+a.Arrived.Sub(monday()).String())
		return nil
	}))
	assert.Equal(t, []string{"crash -48h0m0s 0s", "seal 2h0m0s 7h0m0s"}, told)
	assert.InDelta(t, 0, after(t, tank, 90*time.Minute).GaugeKPa, 1e-9, "an act that nobody logs is done all the same")
}

func TestTypedStreamAndMessagesSayTheSame(t *testing.T) {
	var typed []Arrival
	require.NoError(t, Demo(monday(), 4).Each(monday().Add(6*time.Hour), func(a Arrival) error {
		a.Readings = append(a.Readings[:0:0], a.Readings...)
		typed = append(typed, a)
		return nil
	}))
	i := 0
	require.NoError(t, Demo(monday(), 4).Run(monday().Add(6*time.Hour), func(m Message) error {
		a := typed[i]
		i++
		require.Equal(t, a.Message(), m)
		if a.Event != nil || a.Shape != Flat {
			return nil
		}
		var said map[string]any
		require.NoError(t, json.Unmarshal(m.Payload, &said))
		for _, r := range a.Readings {
			assert.Equal(t, r.Value, said[string(r.Quantity)], "the very same figure")
			assert.True(t, strings.HasPrefix(m.Topic, "cellar/"+r.Tank+"/"+r.Probe))
		}
		return nil
	}))
	assert.Equal(t, len(typed), i)
	assert.Greater(t, i, 1000)
}
