package alert

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

func TestADriftSaysWhichWay(t *testing.T) {
	step := refermenting()
	step.Alarm = detect.CrashDrift
	assert.Equal(t, "beer is warmer than its setpoint", title(step))
	assert.Contains(t, lookFirst(step), "do other tanks warm too?")
	*step.Evidence.TemperatureCelsius = 12
	assert.Equal(t, "beer is colder than its setpoint", title(step))
	assert.Contains(t, NewMessage(step, nil).LookFirst, "do other tanks run cold too?")
	step.To, step.Summary = Returned, "FV3: beer is back at 57.7 degF, setpoint 57.9 degF"
	assert.Equal(t, "beer is off its crash setpoint", title(step), "a warm one may end on the cold side")
	assert.Equal(t, "beer is back at 57.7 degF, setpoint 57.9 degF", strings.Split(cellarWords().Text(Message{Transition: step}), "\n")[1])
}

func TestAVacuumSaysWhetherItIsThere(t *testing.T) {
	kPa := 15.0
	step := Transition{Tank: "FV3", Alarm: detect.Vacuum, To: Unacknowledged, Evidence: detect.Evidence{PressureKPa: &kPa, Joined: []string{"FV4"}}}
	step.Summary = "FV3: put CO2 on first"
	assert.Equal(t, "head pressure will fall below atmosphere", title(step))
	assert.Equal(t, "put CO2 on first; same gas, and moved with it: FV4; look at each, and at the header", cellarWords().figure(step, step.Time))
	kPa = -1.4
	assert.Equal(t, "head pressure is below atmosphere", title(step))
	step.To = Returned
	assert.Equal(t, "head pressure is falling below atmosphere", title(step))
}

func TestAQuestionReadsAsOne(t *testing.T) {
	step := Transition{Tank: "FV3", Alarm: detect.HopCharge, Priority: detect.Low, From: Normal, To: Unacknowledged, Time: at("02:00")}
	assert.Equal(t, "FV3: hops in? Since 03:00", cellarWords().Headline(Message{Transition: step}))
	h := happening{Raised: step.Time, Last: step}
	assert.Equal(t, "03:00 hops in? NOT ANSWERED", cellarWords().happened(&h, step.Time))
	h.SeenBy, h.SeenAt, h.Last.To = "Ines", at("03:00"), Normal
	assert.Equal(t, "03:00 hops in? seen by Ines 04:00, over 03:00", cellarWords().happened(&h, step.Time))
	assert.Equal(t, "hop-charge?", InAWord(step.Alarm, step.Title()))
	step.From, step.To, step.Summary = Unacknowledged, Returned, "FV3: no longer asked about hops (two days have passed)"
	assert.Equal(t, "FV3: no longer asked: hops in?\nno longer asked about hops (two days have passed)", cellarWords().Text(Message{Transition: step}))
}

func TestALeakOfTheLastPressureReadsAsAQuestion(t *testing.T) {
	kPa := 0.4
	step := Transition{Tank: "FV3", Alarm: detect.Leak, Priority: detect.Low, From: Normal, To: Unacknowledged, Time: at("02:00")}
	step.Summary, step.Evidence.PressureKPa = "FV3: was it opened? Log it if so", &kPa
	text := strings.Split(cellarWords().Text(Message{Transition: step}), "\n")
	assert.Equal(t, []string{"FV3: head pressure is gone, was it opened? Since 03:00", "was it opened? Log it if so"}, text[:2])
	assert.Contains(t, text[2], "If it was opened, log it with its time.")
	assert.Contains(t, text[2], "Soap the clamps")
	asked := step
	asked.Summary, asked.Evidence.PressureKPa = "", nil
	assert.Contains(t, cellarWords().Text(Message{Transition: asked}), "let off by hand and not logged, or lost by a leak")
	assert.NotContains(t, meaning(asked), "as it was", "no other leak is called meanwhile")
	step.From, step.To, step.Summary = Unacknowledged, Returned, "FV3: no longer asked (log: vent)"
	assert.Equal(t, "FV3: no longer asked: head pressure is gone, was it opened?\nno longer asked (log: vent)", cellarWords().Text(Message{Transition: step}))
	step.From, step.To, step.Priority = Normal, Unacknowledged, detect.Medium
	assert.Equal(t, "losing head pressure", title(step))
}

// A barometer is in no steel, and nobody goes to a tank for it.
func TestTheAdviceOnABarometerIsOfNoTank(t *testing.T) {
	step := Transition{Tank: "yard", Alarm: detect.ProbeSilent, Probe: "baro-1", Priority: detect.Medium, To: Unacknowledged}
	step.Evidence.Outside = true
	texts := meaning(step) + lookFirst(step)
	for _, to := range []State{Unacknowledged, Acknowledged, Shelved, Returned, Normal} {
		step.To, step.Why = to, "it is being moved"
		texts += advice(step)
	}
	for _, word := range []string{"steel", "the tank ", "in the tank"} {
		assert.NotContains(t, texts, word)
	}
	assert.Contains(t, texts, "it is being moved")
	step.To = Unacknowledged
	links := cellarLinks("t0ken")
	assert.NotEmpty(t, NewMessage(step, links).Acknowledge)
	assert.Empty(t, NewMessage(step, links).Picture, "there are no curves of it")
	step.Evidence.Outside = false
	assert.Contains(t, lookFirst(step), "steel")
	assert.NotEmpty(t, NewMessage(step, links).Picture)
}
