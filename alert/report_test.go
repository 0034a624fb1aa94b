package alert

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// morning is a webhook that gets a report at 07:00 by a clock one hour east of UTC.
func morning(o Options) *scene {
	seven := 7 * time.Hour
	o.Policy.Webhooks = []Webhook{{Name: "office", Priority: detect.Critical, Hours: Hours{9 * time.Hour, 17 * time.Hour}, Report: &seven}}
	o.Default.Zone = time.FixedZone("cellar", 3600)
	o.Default.Display = detect.Display{Gravity: "SG", Temperature: "degF", Pressure: "psi"}
	return newScene(o)
}

// reports are the reports sent since it was last asked, each with the time it was made.
func (s *scene) reports(t *testing.T) (texts []string, times []time.Time) {
	for _, n := range s.Notices() {
		if n.Message.Kind == KindReport {
			assert.Equal(t, n.ID, n.Thread)
			texts, times = append(texts, Words{}.Text(n.Message)), append(times, n.Time)
		}
	}
	return texts, times
}

func TestTheMorningReport(t *testing.T) {
	s := morning(Options{})
	s.note(s.Take(detect.Reading{Tank: "FV1", Quantity: detect.Gravity, Time: at("00:01"), Arrived: at("00:01"), Value: 1.012}))
	s.note(s.Take(detect.Reading{Tank: "FV3", Quantity: detect.Gravity, Time: at("05:00"), Arrived: at("00:01"), Value: 1.0118}))
	s.note(s.Take(detect.Reading{Tank: "FV3", Quantity: detect.Pressure, Time: at("05:00"), Arrived: at("00:01"), Value: 82}))
	s.find("00:15", "FV3", detect.Refermentation, detect.High)
	s.answered("00:20")
	s.find("00:30", "FV3", detect.Leak, detect.Medium)
	s.find("00:40", "FV3", detect.Leak, over)
	s.find("00:50", "FV3", detect.Vacuum, detect.Critical)
	s.find("01:00", "FV3", detect.ProbeFault, detect.Low)
	s.find("01:00", "FV4", detect.FreezeRisk, detect.High)
	s.find("01:00", "FV5", "temperature", over)
	s.note(s.Advance(at("02:00")))
	ts, err := s.Shelve(s.incident("FV4", detect.FreezeRisk), "Ines", "new valve at nine", at("08:00"), at("02:00"))
	require.NoError(t, err)
	s.note(ts)
	s.note(s.LinkLost(at("03:00"), "broker"))
	s.note(s.LinkFound(at("03:30")))
	s.note(s.Advance(at("06:00")))

	texts, times := s.reports(t)
	require.Len(t, texts, 1)
	assert.Equal(t, at("06:00"), times[0], "07:00 by the cellar's clock, whatever the webhook's hours")
	assert.Equal(t, []string{
		"Morning report of Mon 07:00: alarms in 3 tanks, 1 quiet, and of the cellar itself; unanswered: 3",
		"Cellar:",
		"  04:15 no word from the probes, the link is down, over 04:45",
		"FV3: 1.0118 SG, 11.9 psi; fermenting again since 01:15, next hold point: crash",
		"  01:51 head pressure is falling below atmosphere, NOT ANSWERED",
		"  and 3 more, the next of them: beer is fermenting again (hop creep?)",
		"FV4: no fresh readings",
		"  02:30 beer is close to freezing, kept quiet",
		"FV5: no fresh readings",
		"  02:45 nothing heard from hyd-1, NOT ANSWERED",
		"Nothing happened in FV1",
		"Stages and hold points are by the log and the newest reading; the curves were not judged for this: see each tank's report",
		"Quiet until 09:00: FV4: beer is close to freezing (new valve at nine)",
		"Look at the battery of hyd-1 (FV5): not heard since 02:00",
	}, strings.Split(texts[0], "\n"))

	s.note(s.Advance(at("06:00").Add(24 * time.Hour)))
	texts, times = s.reports(t)
	require.Len(t, texts, 1, "one each morning")
	assert.Equal(t, at("06:00").AddDate(0, 0, 1), times[0])
	assert.NotContains(t, texts[0], "losing head pressure", "what was over before this night is not of it")
}

// incident is the id of an open alarm.
func (s *scene) incident(tank string, a detect.Alarm) string { return s.vessel(tank).find(a, "").ID }

func TestAQuietNight(t *testing.T) {
	s := morning(Options{Tanks: map[string]detect.Settings{"FV1": {}, "FV2": {}}})
	s.find("01:00", "FV1", detect.Refermentation, detect.High)
	s.find("01:00", "FV1", detect.PressureRise, detect.High)
	s.note(s.Advance(at("05:59")))
	texts, _ := s.reports(t)
	assert.Empty(t, texts)
	s = morning(Options{Tanks: map[string]detect.Settings{"FV1": {}, "FV2": {}}})
	s.note(s.Advance(at("06:00")))
	texts, _ = s.reports(t)
	require.Len(t, texts, 1)
	assert.Equal(t, "Morning report of Mon 07:00: a quiet night in 2 tanks\nNothing happened in FV1, FV2", texts[0])
}

func TestWhatWasExplainedIsNotInTheReport(t *testing.T) {
	s := morning(Options{})
	s.find("01:00", "FV3", detect.Leak, detect.Medium)
	s.find("01:00", "FV4", detect.OverPressure, detect.Critical)
	s.find("01:01", "FV4", detect.PressureRise, detect.High)
	s.find("01:05", "FV3", detect.Leak, over)
	s.note(s.Advance(at("02:00")))
	s.find("02:00", "FV4", detect.PressureRise, over)
	s.note(s.Advance(at("02:30")))
	s.log("02:30", "FV3", "empty", nil)
	assert.Equal(t, [2]State{Returned, Normal}, [2]State{s.told[len(s.told)-1].From, s.told[len(s.told)-1].To})
	s.note(s.Advance(at("06:00")))
	texts, _ := s.reports(t)
	require.Len(t, texts, 1)
	assert.NotContains(t, texts[0], "nothing logged explains it")
	assert.NotContains(t, texts[0], "seen by", "nobody saw it, it is over by itself")
}

func TestSeenAndOver(t *testing.T) {
	s := morning(Options{})
	s.find("00:15", "FV3", detect.Refermentation, detect.High)
	s.answered("00:20")
	s.find("01:00", "FV3", detect.Refermentation, over)
	s.note(s.Advance(at("06:00")))
	texts, _ := s.reports(t)
	require.Len(t, texts, 1)
	assert.Contains(t, texts[0], "  01:15 beer is fermenting again (hop creep?), seen by Ines 01:20, over 03:00")
}

func TestAReportIsLateRatherThanLost(t *testing.T) {
	s := morning(Options{})
	s.note(s.Advance(at("05:00")))
	s.note(s.Started(at("09:30:30")))
	s.note(s.Advance(at("09:31")))
	_, times := s.reports(t)
	assert.Equal(t, []time.Time{at("09:31")}, times)
	s.note(s.Advance(at("23:00")))
	_, times = s.reports(t)
	assert.Empty(t, times)
}

func TestAStartAfterTheHourSendsNoReportOfIt(t *testing.T) {
	s := morning(Options{})
	s.Started(at("10:00"))
	s.note(s.Advance(at("23:00")))
	_, times := s.reports(t)
	assert.Empty(t, times)
}

// The night's barometer is no tank that was quiet, and its silence is not left out either.
func TestTheReportHasABarometerUnderTheCellar(t *testing.T) {
	seven := 7 * time.Hour
	w := barometers(Options{Policy: Policy{Webhooks: []Webhook{{Name: "office", Priority: detect.Critical, Report: &seven}}}}, "07:00")
	s := &scene{Watch: w}
	texts, _ := s.reports(t)
	require.Len(t, texts, 1)
	assert.Contains(t, texts[0], "alarms in 0 tanks, 1 quiet, and of the cellar itself; unanswered: 1\nCellar:\n")
	assert.Contains(t, texts[0], "Nothing happened in FV3\n")
}
