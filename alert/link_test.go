package alert

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

func TestLinkLost(t *testing.T) {
	t.Run("stands for the probes behind it", func(t *testing.T) {
		s := newScene(Options{})
		for _, tank := range []string{"FV1", "FV2"} {
			s.find("01:00", tank, "temperature", over)
		}
		s.note(s.LinkLost(at("01:01"), "broker refused"))
		s.note(s.Advance(at("02:30")))
		s.note(s.LinkFound(at("02:30")))
		for _, tank := range []string{"FV1", "FV2"} {
			s.find("02:31", tank, "temperature", over)
		}
		s.note(s.Advance(at("03:00")))
		assert.Equal(t, []string{
			"01:16  link-lost high normal>unacknowledged",
			"01:45 FV1 probe-silent medium normal>suppressed",
			"01:45 FV2 probe-silent medium normal>suppressed",
			"02:31 FV1 probe-silent medium suppressed>normal",
			"02:31 FV2 probe-silent medium suppressed>normal",
			"02:45  link-lost high unacknowledged>returned",
		}, s.lines())
		assert.Equal(t, "no probe can be heard since 01:01: broker refused", s.told[0].Summary)
		assert.Equal(t, "explained by link-lost", s.told[1].Why)
		assert.Equal(t, s.told[0].Onset, s.told[5].Onset, "the end still says since when")
		assert.Equal(t, s.told[0].Summary, s.told[5].Summary)
	})
	t.Run("a broker that restarts wakes nobody", func(t *testing.T) {
		s := newScene(Options{})
		s.find("00:30", "FV1", "temperature", over)
		s.note(s.LinkLost(at("01:10"), ""))
		s.note(s.Advance(at("01:20"))) // silent since 01:15, the link's own delay still running
		s.note(s.LinkFound(at("01:20")))
		s.find("01:21", "FV1", "temperature", over)
		s.note(s.Advance(at("02:00")))
		assert.Equal(t, []string{
			"01:15 FV1 probe-silent medium normal>suppressed", "01:21 FV1 probe-silent medium suppressed>normal",
		}, s.lines())
	})
	t.Run("lost twice, found twice", func(t *testing.T) {
		s := newScene(Options{})
		s.note(s.LinkFound(at("01:00")))
		s.note(s.LinkLost(at("01:00"), "a"))
		s.note(s.LinkLost(at("01:10"), "b"))
		s.note(s.Advance(at("01:15")))
		s.note(s.LinkFound(at("01:20")))
		s.note(s.LinkFound(at("01:25")))
		s.note(s.Advance(at("01:35")))
		assert.Equal(t, []string{"01:15  link-lost high normal>unacknowledged", "01:35  link-lost high unacknowledged>returned"}, s.lines())
		assert.Equal(t, at("01:00"), s.told[0].Onset)
	})
}

func TestDowntimeIsNobodysSilence(t *testing.T) {
	s := newScene(Options{})
	s.find("01:00", "FV3", "temperature", over)
	s.find("01:00", "FV3", detect.CrashDrift, detect.High)
	s.note(s.Advance(at("01:10")))
	s.note(s.Started(at("04:00")))
	s.note(s.Advance(at("04:09")))
	assert.Empty(t, s.told, "ten of the twenty minutes had run")
	s.note(s.Advance(at("04:10")))
	assert.Equal(t, []string{"04:10 FV3 crash-drift high normal>unacknowledged"}, s.lines())
	assert.Equal(t, 20, s.vessel("FV3").tank.(*scripted).Ticks, "no tick is made up for the time away")
	s.note(s.Advance(at("04:35")))
	assert.Equal(t, "04:35 FV3 probe-silent medium normal>unacknowledged", s.lines()[1], "10 minutes before, 35 after")
}

func TestALostLinkAndARestartAreCountedOnce(t *testing.T) {
	s := newScene(Options{})
	s.find("01:00", "FV3", "temperature", over)
	s.note(s.LinkLost(at("01:10"), ""))
	s.note(s.Advance(at("01:30")))
	s.note(s.Started(at("02:30")))
	s.note(s.LinkFound(at("03:00")))
	s.told = nil
	s.note(s.Advance(at("04:00")))
	assert.Equal(t, []string{
		"03:01 FV3 probe-silent medium suppressed>normal",
		"03:15  link-lost high unacknowledged>returned",
		"03:35 FV3 probe-silent medium normal>unacknowledged", // ten minutes before, thirty-five after
	}, s.lines())
}
