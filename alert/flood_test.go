package alert

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// tanks names some.
func tanks(n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = fmt.Sprintf("FV%02d", i+1)
	}
	return out
}

func TestTenAlarmsAreToldOneByOne(t *testing.T) {
	s := policed(Webhook{Name: "phone"})
	for i, tank := range tanks(10) {
		s.find(fmt.Sprintf("01:%02d", i/2), tank, detect.Leak, detect.Medium)
	}
	rings := s.rings()
	assert.Len(t, rings, 10)
	assert.NotContains(t, fmt.Sprint(rings), "flood")
}

func TestMoreThanTenInTenMinutesAreOneMessage(t *testing.T) {
	s := policed(Webhook{Name: "phone"}, Webhook{Name: "owner", Priority: detect.Critical})
	for i, tank := range tanks(14) {
		s.find(fmt.Sprintf("01:%02d:30", i/3), tank, detect.Leak, detect.Medium)
	}
	s.note(s.Advance(at("01:05")))
	first := s.Notices()
	require.Len(t, first, 11)
	flood := first[10]
	assert.Equal(t, at("01:04"), flood.Time, "with the whole minute after the eleventh")
	assert.Equal(t, "Cellar: 12 alarms at once, the most pressing of the new ones is FV11: losing head pressure", flood.Message.Summary)
	assert.Equal(t, flood.ID, flood.Thread, "it waits behind nothing")
	assert.Equal(t, []Named{
		{ID: s.told[10].ID, Tank: "FV11", Alarm: detect.Leak, Priority: detect.Medium, To: Unacknowledged, Summary: "FV11 leak"},
		{ID: s.told[11].ID, Tank: "FV12", Alarm: detect.Leak, Priority: detect.Medium, To: Unacknowledged, Summary: "FV12 leak"},
	}, flood.Message.Alarms[:2])
	assert.Len(t, flood.Message.Alarms, 12, "it names all of them")
	assert.Equal(t, "told before: FV01: losing head pressure, since 01:00", flood.Message.Lines[2])

	s.note(s.Advance(at("01:13")))
	assert.Empty(t, s.rings(), "then every ten minutes")
	s.note(s.Advance(at("01:14")))
	next := s.Notices()
	require.Len(t, next, 1)
	assert.Len(t, next[0].Message.Alarms, 2)

	s.note(s.Advance(at("01:20")))
	s.find("01:20:10", "FV20", detect.Leak, detect.Medium)
	assert.Equal(t, []string{"01:20:10 phone"}, s.rings(), "fewer than five in ten minutes end it")
}

func TestAllThatCriesAtOnceIsOneMessage(t *testing.T) {
	s := policed(Webhook{Name: "phone"})
	for _, tank := range tanks(12) {
		s.find("01:00", tank, "temperature", over)
	}
	s.note(s.Advance(at("01:45")))
	notices := s.Notices()
	require.Len(t, notices, 1)
	m := notices[0].Message
	assert.Equal(t, KindFlood, m.Kind)
	assert.Equal(t, detect.Medium, m.Priority)
	assert.Len(t, m.Alarms, 12)
	assert.Contains(t, Words{}.Text(m), "FV07: nothing heard from hyd-1, since 01:00")

	for _, tank := range tanks(12) {
		s.find("01:50", tank, "temperature", over) // heard again
	}
	s.note(s.Advance(at("01:55")))
	notices = s.Notices()
	require.Len(t, notices, 1, "and so is its end")
	assert.Equal(t, "Cellar: 12 alarms have changed, none of them calls", notices[0].Message.Summary)
	s.note(s.Advance(at("02:10")))
	assert.False(t, s.annunciator.line("phone").Flood)
}

func TestSomethingCriticalDoesNotWaitInAFlood(t *testing.T) {
	s := policed(Webhook{Name: "phone"})
	for _, tank := range tanks(12) {
		s.find("01:00", tank, detect.Leak, detect.Medium)
	}
	s.note(s.Advance(at("01:02")))
	s.Notices()
	s.find("01:02:10", "FV01", detect.OverPressure, detect.Critical)
	s.note(s.Advance(at("01:03")))
	assert.Equal(t, []string{"01:03 phone"}, s.rings(), "with the next whole minute, and alone by itself")
}

func TestWhatIsOverBeforeAFloodIsToldIsStillNamed(t *testing.T) {
	s := policed(Webhook{Name: "phone"})
	for _, tank := range tanks(12) {
		s.find("01:00", tank, detect.Leak, detect.Medium)
	}
	s.note(s.Advance(at("01:01")))
	s.Notices()
	s.find("01:02", "FV20", detect.Vacuum, detect.High)
	s.note(s.Advance(at("01:03")))
	s.find("01:03", "FV20", detect.Vacuum, over)
	s.note(s.Advance(at("01:15")))
	notices := s.Notices()
	require.Len(t, notices, 1)
	require.Len(t, notices[0].Message.Alarms, 1)
	assert.Equal(t, Returned, notices[0].Message.Alarms[0].To)
}

func TestManyRepeatsAreOneMessage(t *testing.T) {
	s := policed(Webhook{Name: "phone", Repeat: quarter})
	for _, tank := range tanks(12) {
		s.find("01:00", tank, "temperature", over)
	}
	s.note(s.Advance(at("02:30")))
	assert.Equal(t, []string{"01:45 phone flood", "02:00 phone flood", "02:15 phone flood", "02:30 phone flood"}, s.rings())
}
