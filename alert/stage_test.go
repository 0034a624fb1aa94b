package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

// A stage is said as far as the log and the newest reading carry it, and no further.
func TestTheStageOfATank(t *testing.T) {
	now, setpoint := at("06:00"), 2.0
	cold := func(celsius float64, age time.Duration) map[detect.Quantity]detect.Latest {
		return map[detect.Quantity]detect.Latest{detect.Temperature: {Value: celsius, Time: now.Add(-age)}}
	}
	anew := []Incident{{Alarm: detect.Refermentation, State: Acknowledged, Onset: at("01:00")}}
	for _, c := range []struct {
		name, want string
		status     detect.Status
		incidents  []Incident
	}{
		{"nothing known", "", detect.Status{}, nil},
		{"empty", "empty", detect.Status{Empty: true, Working: true}, nil},
		{"pitched", "fermenting or at terminal gravity, next hold point: crash", detect.Status{Working: true}, nil},
		{"works again", "fermenting again since 01:00, next hold point: crash", detect.Status{HoppedSince: at("00:10")}, anew},
		{"on hops", "on hops since 00:10, next hold point: crash", detect.Status{
			HoppedSince: at("00:10"), Finished: true, SetpointCelsius: &setpoint, SetpointSince: at("00:05"),
		}, nil},
		{"cooled on its hops", "on hops since 00:10, next hold point: package", detect.Status{
			HoppedSince: at("00:10"), Finished: true, SetpointCelsius: &setpoint, SetpointSince: at("00:20"),
		}, nil},
		{"on its way down", "being cooled since 00:20, next hold point: dry-hop or package", detect.Status{
			Finished: true, SetpointCelsius: &setpoint, SetpointSince: at("00:20"), Last: cold(3.1, time.Hour),
		}, nil},
		{"cold", "cold, next hold point: dry-hop or package", detect.Status{
			Finished: true, SetpointCelsius: &setpoint, SetpointSince: at("00:20"), Last: cold(3, time.Hour),
		}, nil},
		{"not read for long", "", detect.Status{
			Finished: true, SetpointCelsius: &setpoint, SetpointSince: at("00:20"), Last: cold(3, freshFigures+time.Minute),
		}, nil},
		{"a setpoint of the pitch is no crash", "fermenting or at terminal gravity, next hold point: crash", detect.Status{
			Working: true, SetpointCelsius: &setpoint, Last: cold(2, 0),
		}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			assert.Equal(t, c.want, Words{}.stage(TankView{Status: c.status, Incidents: c.incidents}, now))
		})
	}
}

// What the log says reaches the report through the tank itself.
func TestTheReportHasTheStageOfTheLog(t *testing.T) {
	tank := detect.NewTank("FV1", detect.Settings{})
	tell := func(clock, event string, amounts map[string]float64) {
		tank.Log(detect.Event{Tank: "FV1", Name: event, Time: at(clock), Arrived: at(clock), Amounts: amounts})
	}
	said := func() string { return Words{}.stage(TankView{Status: tank.Status()}, at("06:00")) }
	tell("00:01", "pitch", map[string]float64{"gravity": 1.060})
	assert.Equal(t, "fermenting or at terminal gravity, next hold point: crash", said())
	tell("00:02", "crash", map[string]float64{"setpoint": 14.4})
	assert.Empty(t, said(), "no temperature was read: it may be on its way or there")
	tell("00:03", "dry-hop", nil)
	assert.Equal(t, "on hops since 00:03, next hold point: crash", said())
	tell("00:04", "crash", map[string]float64{"setpoint": 2})
	assert.Equal(t, "on hops since 00:03, next hold point: package", said())
}
