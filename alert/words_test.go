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

// cellarWords are those of a cellar an hour east of UTC that reads degF and psi.
func cellarWords() Words {
	return Words{
		Zone:    time.FixedZone("cellar", 3600),
		Display: detect.Display{Gravity: "SG", Temperature: "degF", Pressure: "psi"},
	}
}

// atRelief is what a gauge shows while the relief valve passes gas.
func atRelief() detect.Evidence {
	setting, value := 100.0, 100.2
	return detect.Evidence{PressureKPa: &value, ReliefKPa: &setting}
}

func TestHeadlines(t *testing.T) {
	for _, row := range []struct {
		t    Transition
		want string
	}{
		{
			Transition{Tank: "FV3", Alarm: detect.Refermentation, From: Normal, To: Unacknowledged, Onset: at("00:15")},
			"FV3: beer is fermenting again (hop creep?), since 01:15",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.Refermentation, From: Normal, To: Unacknowledged, Onset: at("00:15").AddDate(0, 0, -2)},
			"FV3: beer is fermenting again (hop creep?), since Sat 01:15",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.OverPressure, Priority: detect.Critical, From: Acknowledged, To: Unacknowledged},
			"FV3 (critical): worse: head pressure is at or nearing the relief setting, since 03:00",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.OverPressure, Priority: detect.Critical, From: Acknowledged, To: Unacknowledged, Evidence: atRelief()},
			"FV3 (critical): worse: head pressure has reached the relief setting, since 03:00",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.ProbeSilent, Probe: "hyd-1", From: Returned, To: Unacknowledged},
			"FV3: back again: nothing heard from hyd-1, since 03:00",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.CrashDrift, From: Suppressed, To: Unacknowledged, Why: "nothing explains it any longer"},
			"FV3: still: beer is off its crash setpoint, since 03:00",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.CrashDrift, From: Shelved, To: Unacknowledged, Why: grewWorse},
			"FV3: worse: beer is off its crash setpoint, since 03:00",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.Leak, From: Unacknowledged, To: Acknowledged, By: "Ines"},
			"FV3: seen by Ines: losing head pressure",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.Leak, From: Unacknowledged, To: Acknowledged},
			"FV3: seen: losing head pressure",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.Leak, From: Unacknowledged, To: Shelved, By: "Ines", Until: at("06:00")},
			"FV3: quiet until 07:00 by Ines: losing head pressure",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.ProbeFault, Probe: "head-3", From: Unacknowledged, To: Returned},
			"FV3: cleared by itself: head-3 cannot be believed",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.FreezeRisk, From: Acknowledged, To: Normal},
			"FV3: cleared by itself: beer is close to freezing",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.Leak, From: Acknowledged, To: Normal, Why: "the log says empty"},
			"FV3: closed, the log says empty: losing head pressure",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.Leak, From: Returned, To: Normal, By: "Ines"},
			"FV3: over, and seen by Ines: losing head pressure",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.PressureRise, From: Normal, To: Suppressed, Why: "explained by over-pressure"},
			"FV3: quiet, explained by over-pressure: head pressure rises and nothing logged explains it",
		},
		{
			Transition{Tank: "FV3", Alarm: detect.Leak, From: Normal, To: OutOfService},
			"FV3: out of service: losing head pressure",
		},
		{
			Transition{Alarm: detect.LinkLost, From: Normal, To: Unacknowledged},
			"Cellar: no word from the probes, the link is down, since 03:00",
		},
		{
			Transition{Tank: "FV3", Alarm: "kettle-on", From: Normal, To: Unacknowledged},
			"FV3: kettle-on, since 03:00",
		},
	} {
		row.t.Time = at("02:00")
		assert.Equal(t, row.want, cellarWords().Headline(Message{Transition: row.t}))
	}
}

// refermenting is what a brewer is woken with.
func refermenting() Transition {
	low, high := at("04:00"), at("06:30")
	temperature, setpoint, pressure, explained, relief := 14.6, 14.4, 84.0, 71.0, 100.0
	return Transition{
		ID: "abcd", Tank: "FV3", Alarm: detect.Refermentation, Priority: detect.High, From: Normal, To: Unacknowledged,
		Time: at("01:15"), Onset: at("00:15"), Summary: "FV3 is fermenting again since 01:15",
		Evidence: detect.Evidence{
			RatePlatoPerDay:     &detect.Interval{Value: 0.25, Low: 0.18, High: 0.33},
			CO2GramsPerLiterDay: &detect.Interval{Value: 1.03, Low: 0.7, High: 1.4},
			TemperatureCelsius:  &temperature, SetpointCelsius: &setpoint,
			PressureKPa: &pressure, ExplainedPressureKPa: &explained, ReliefKPa: &relief,
			Forecast:    &detect.Forecast{LimitReached: &detect.Span{Low: low, High: high}, Limit: "its limit"},
			SilentSince: &low,
		},
	}
}

func TestTextFitsALockScreen(t *testing.T) {
	over := refermenting()
	over.Alarm, over.Priority = detect.OverPressure, detect.Critical
	over.Summary = "FV3: head pressure 12.2 psi at Mon 01:15 and rising 2.5 psi an hour: it reaches the relief setting of 14.5 psi within the hour"
	drift := refermenting()
	drift.Alarm = detect.CrashDrift
	drift.Summary = "FV3: beer is warming: 58.3 degF at Mon 01:15; about Mon 05:10 it will be 1.8 degF over its setpoint of 57.9 degF"
	const briefDrift = "Closed, it gains pressure as it warms and can be pulled flat as it cools: read its gauge, " +
		"keep clear of relief, loosen no clamp or manway. CO2 may fill the room: meter first, do not go alone."
	for _, row := range []struct {
		m    Message
		want []string
	}{
		{Message{Transition: refermenting()}, []string{
			"FV3: beer is fermenting again (hop creep?), since 01:15",
			"ferments about 1.0 points (0.7 to 1.3) a day, its limit reached between 05:00 and 07:30",
			"Read the gauge at the tank, sample for gravity and diacetyl, and hold back what was already packaged from it.",
			"CO2 may fill the room: meter first, do not go alone. Cans of it can burst: keep them cold and shielded, touch none without gloves and eye protection, none warm.",
		}},
		{Message{Transition: over}, []string{
			"FV3 (critical): head pressure is at or nearing the relief setting, since 01:15",
			"head pressure 12.2 psi at Mon 01:15 and rising 2.5 psi an hour: it reaches the relief setting of 14.5 psi within the hour",
			"From a safe place, read the gauge at the tank: is it still rising, does the spunding or relief valve pass gas? Is CO2 on? Shut it at its supply.",
			"Loosen no clamp or manway, keep clear of relief and never plug it; still rising, it may be blocked. " +
				"CO2 may fill the room: meter first, do not go alone.",
		}},
		{Message{Transition: drift, Repeat: 2, Told: at("02:15")}, []string{
			"FV3: call 3: beer is warmer than its setpoint, since 01:15",
			"beer is warming: 58.3 degF at Mon 01:15; about Mon 05:10 it will be 1.8 degF over its setpoint of 57.9 degF",
			"Is glycol flowing to this tank, is the valve where it should be, do other tanks warm too?",
			briefDrift,
		}},
		{Message{Transition: drift, Unanswered: "phone"}, []string{
			"FV3: phone did not answer: beer is warmer than its setpoint, since 01:15",
			"beer is warming: 58.3 degF at Mon 01:15; about Mon 05:10 it will be 1.8 degF over its setpoint of 57.9 degF",
			"Is glycol flowing to this tank, is the valve where it should be, do other tanks warm too?",
			briefDrift,
		}},
	} {
		assert.Equal(t, row.want, strings.Split(cellarWords().Text(row.m), "\n"))
	}
}

func TestEachAlarmHasItsNumber(t *testing.T) {
	step := refermenting()
	step.Summary = "FV3: what was found"
	for alarm, want := range map[detect.Alarm]string{
		detect.Refermentation: "ferments about 1.0 points (0.7 to 1.3) a day, its limit reached between 05:00 and 07:30",
		detect.NotFinished:    "ferments about 1.0 points (0.7 to 1.3) a day, its limit reached between 05:00 and 07:30",
		detect.PressureRise:   "head 12.2 psi, explained 10.3 psi",
		detect.Leak:           "head 12.2 psi",
		detect.CrashDrift:     "what was found", // the likeliest hour of its limit, or that cooling has stalled
		detect.OverPressure:   "what was found", // how soon it is at the relief setting
		detect.Vacuum:         "what was found", // where it will end, and that CO2 is to be put on first
		detect.FreezeRisk:     "what was found", // where ice begins
		detect.ProbeSilent:    "what was found", // whether another thermometer is heard
		detect.ProbeFault:     "",               // the summary says what is wrong
		detect.LinkLost:       "",
	} {
		step.Alarm = alarm
		assert.Equal(t, want, cellarWords().figure(step, step.Time), alarm)
	}
	step.Alarm, step.Evidence.RatePlatoPerDay.Value = detect.Refermentation, 0.01
	assert.Empty(t, cellarWords().figure(step, step.Time), "what has almost stopped has no rate to tell")
	step.Evidence.RatePlatoPerDay, step.Evidence.Forecast.LimitReached.Low = nil, step.Time.Add(25*time.Hour)
	assert.Equal(t, "CO2 made 1.03 g/L a day", cellarWords().figure(step, step.Time), "where only the gauge saw it")
}

func TestFacts(t *testing.T) {
	assert.Equal(t, []string{
		"ferments about 1.0 points (0.7 to 1.3) a day", "CO2 made 1.03 g/L a day", "beer 58.3 degF, setpoint 57.9 degF",
		"head 12.2 psi, explained 10.3 psi", "pressure relief valve set at 14.5 psi",
		"its limit reached between 05:00 and 07:30", "last heard 05:00",
	}, cellarWords().Facts(refermenting().Evidence, at("01:15")))
	assert.Contains(t, cellarWords().Facts(refermenting().Evidence, at("04:30")), "its limit reached by 07:30", "where it may be now")
}

func TestTextFallsBackOnTheSummary(t *testing.T) {
	m := Message{Transition: Transition{Tank: "FV3", Alarm: detect.Leak, To: Unacknowledged, From: Normal, Summary: "FV3 loses 2 kPa an hour"}}
	assert.Equal(t, "FV3 loses 2 kPa an hour", strings.Split(Words{}.Text(m), "\n")[1])
	m.Summary = ""
	assert.Equal(t, "A closed tank loses CO2 that cooling does not explain.", strings.Split(Words{}.Text(m), "\n")[1])
}

func TestTheLastLineSaysWhatAnAnswerMeans(t *testing.T) {
	for to, want := range map[State]string{
		Acknowledged: "changes nothing in the tank",
		Shelved:      "Reason: sampled. The tank goes on",
		Returned:     "Look at the tank before you rely on it",
	} {
		m := Message{Transition: Transition{Tank: "FV3", Alarm: detect.OverPressure, From: Unacknowledged, To: to, Why: "sampled", By: "Ines"}}
		text := Words{}.Text(m)
		assert.Contains(t, text, want)
		assert.Contains(t, text, "never plug", "the caution goes with every message")
	}
}

func TestFactsInOtherUnits(t *testing.T) {
	rate := &detect.Interval{Value: -0.25, Low: -0.33, High: 0.02}
	w := Words{Display: detect.Display{Gravity: "degP", Pressure: "furlong"}}
	pressure := 82.0
	assert.Equal(t, []string{"ferments about 0.25 degP (-0.02 to 0.33) a day", "head 82.0 kPa"},
		w.Facts(detect.Evidence{RatePlatoPerDay: rate, PressureKPa: &pressure}, midnight))
}

func TestWhen(t *testing.T) {
	now := at("12:00")
	for want, then := range map[string]time.Time{
		"11:00":       at("11:00"),
		"Sun 23:00":   at("11:00").Add(-12 * time.Hour),
		"23 Feb 12:0": now.AddDate(0, 0, -7),
		"2 Mar 12:00": now.AddDate(1, 0, 0),
	} {
		assert.True(t, strings.HasPrefix(Words{}.When(then, now), want), "%s: %s", want, Words{}.When(then, now))
	}
}

func TestAForecastNamesNoMinutesThatNobodyKnows(t *testing.T) {
	now := at("12:00")
	for want, then := range map[string]time.Time{
		"19:43":     at("19:43"),
		"Wed 02:00": at("01:43").AddDate(0, 0, 2),
		"12 Mar":    at("02:41").AddDate(0, 0, 10),
	} {
		assert.Equal(t, want, Words{}.Around(then, now))
	}
}

func TestOtherMessagesHaveABodyOfTheirOwn(t *testing.T) {
	m := newBulletin(KindReport, midnight, detect.Low)
	m.Summary, m.Lines = "Morning report", []string{"FV3: 1.0118 SG"}
	body, err := m.Linked(cellarLinks("t0ken")).JSON()
	require.NoError(t, err)
	assert.JSONEq(t, `{"id":"`+m.ID+`","kind":"report","time":"2026-03-02T00:00:00Z","priority":"low","summary":"Morning report",
		"lines":["FV3: 1.0118 SG"]}`, string(body), "nothing of an alarm, and nothing to acknowledge")
	var back Message
	require.NoError(t, json.Unmarshal(body, &back))
	assert.Equal(t, "Morning report\nFV3: 1.0118 SG", Words{}.Text(back), "a webhook's template reads it back")
	assert.Equal(t, "Morning report", Words{}.Headline(back))
}

func TestMessageIsTheTransitionsObject(t *testing.T) {
	body, err := NewMessage(refermenting(), cellarLinks("t0ken")).JSON()
	require.NoError(t, err)
	var got map[string]any
	require.NoError(t, json.Unmarshal(body, &got))
	assert.Equal(t, "abcd", got["id"])
	assert.Contains(t, got["acknowledge"], "https://cellar.example/alarms/abcd?pass=")
	assert.Equal(t, "https://cellar.example/tanks/FV3/curves.png?range=night&until=2026-03-02T01%3A15%3A00Z", got["picture"])
	assert.Equal(t, "2026-03-02T01:15:00Z", got["time"])
	assert.Equal(t, "normal", got["from"])
	assert.NotContains(t, got, "Announced")
	assert.NotContains(t, got, "test")
	for _, key := range []string{"tank", "alarm", "priority", "to", "onset", "summary", "evidence"} {
		assert.Contains(t, got, key)
	}
}

func TestNoLinkWithoutAPublicAddressOrAnOpenAnswer(t *testing.T) {
	assert.Empty(t, NewMessage(refermenting(), nil).Acknowledge)
	assert.Empty(t, NewMessage(refermenting(), nil).Picture)
	ofNoTank := refermenting()
	ofNoTank.Tank = ""
	assert.Empty(t, NewMessage(ofNoTank, cellarLinks("t0ken")).Picture)
	step := refermenting()
	step.To = Acknowledged
	assert.Empty(t, NewMessage(step, cellarLinks("t0ken")).Acknowledge)
}

func TestAMessageThatCannotBeWrittenIsAnError(t *testing.T) {
	step := refermenting()
	nan := 0.0
	nan /= nan
	step.Evidence.PressureKPa = &nan
	_, err := NewMessage(step, nil).JSON()
	assert.ErrorContains(t, err, "FV3 refermentation")
}

func TestTestMessageIsMarkedEverywhere(t *testing.T) {
	m := TestMessage(midnight)
	body, err := m.JSON()
	require.NoError(t, err)
	assert.Contains(t, string(body), `"test":true`)
	assert.Contains(t, m.Summary, "TEST")
	assert.Equal(t, "TEST", m.Tank)
	assert.Contains(t, Words{}.Headline(m), "TEST")
	assert.Len(t, strings.Split(Words{}.Text(m), "\n"), 3)
	assert.Empty(t, m.Acknowledge)
}

// Nobody knows what explains the pressure of a tank without a thermometer: the summary says so, and what to read first.
func TestARiseThatTemperatureCannotExplainIsToldInFull(t *testing.T) {
	step := refermenting()
	step.Alarm, step.Evidence.ExplainedPressureKPa = detect.PressureRise, nil
	step.Summary = "FV3: rising, and no thermometer is heard. Read its temperature first, then gravity"
	lines := strings.Split(cellarWords().Text(NewMessage(step, nil)), "\n")
	assert.Equal(t, step.Summary, lines[1])
	assert.True(t, strings.HasPrefix(lines[2], "Has the beer warmed?"), lines[2])
}

func TestALimitThatMustBePastIsNotForetold(t *testing.T) {
	assert.NotContains(t, strings.Join(cellarWords().Facts(refermenting().Evidence, at("07:00")), ", "), "its limit reached")
}
