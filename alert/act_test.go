package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// raised is a scene at 01:00 with a refermentation and an over-pressure that call.
func raised() (s *scene, refermentation, overPressure string) {
	s = newScene(Options{Site: "test"})
	s.find("01:00", "FV3", detect.Refermentation, detect.High)
	s.find("01:00", "FV3", detect.OverPressure, detect.Critical)
	return s, s.told[0].ID, s.told[1].ID
}

func TestAcknowledge(t *testing.T) {
	s, id, _ := raised()
	ts, err := s.Acknowledge(id, "Ines", "on my way", at("01:05"))
	require.NoError(t, err)
	require.Len(t, ts, 1)
	assert.Equal(t, Transition{
		ID: id, Time: at("01:05"), Tank: "FV3", Alarm: detect.Refermentation, Priority: detect.High,
		From: Unacknowledged, To: Acknowledged, Onset: at("01:00"), Summary: "FV3 refermentation",
		By: "Ines", Why: "on my way",
	}, ts[0])

	ts, err = s.Acknowledge(id, "Ines", "", at("01:06"))
	require.NoError(t, err, "a second tap on the link does no harm")
	assert.Empty(t, ts)

	s.find("01:10", "FV3", detect.Refermentation, over)
	s.note(s.Advance(at("02:10")))
	_, err = s.Acknowledge(id, "Ines", "", at("02:11"))
	require.ErrorIs(t, err, ErrUnknownIncident)
	assert.ErrorContains(t, err, id)
}

func TestAcknowledgeWhatHasReturned(t *testing.T) {
	s, _, id := raised()
	s.find("01:10", "FV3", detect.OverPressure, over)
	s.note(s.Advance(at("01:40")))
	ts, err := s.Acknowledge(id, "Ines", "", at("01:41"))
	require.NoError(t, err)
	require.Len(t, ts, 1)
	assert.Equal(t, [2]State{Returned, Normal}, [2]State{ts[0].From, ts[0].To})
}

func TestActsKeepTheMinutesThatPassed(t *testing.T) {
	s, id, _ := raised()
	s.find("01:00", "FV4", detect.CrashDrift, detect.High)
	ts, err := s.Acknowledge("no-such-id", "Ines", "", at("01:30"))
	require.ErrorIs(t, err, ErrUnknownIncident)
	require.Len(t, ts, 1, "the error must not swallow what became due")
	assert.Equal(t, detect.CrashDrift, ts[0].Alarm)
	_, err = s.Unshelve(id, "Ines", "", at("01:31"))
	assert.ErrorIs(t, err, ErrNotNow)
}

func TestShelve(t *testing.T) {
	s, id, _ := raised()
	ts, err := s.Shelve(id, "Ines", "sampled, vdk is fine", at("07:00"), at("01:05"))
	require.NoError(t, err)
	require.Len(t, ts, 1)
	assert.Equal(t, Shelved, ts[0].To)
	assert.Equal(t, at("07:00"), ts[0].Until)
	assert.Equal(t, "sampled, vdk is fine", ts[0].Why)
	incident := s.View().Incidents[1]
	assert.Equal(t, at("07:00"), incident.Until)
	assert.Equal(t, "sampled, vdk is fine", incident.Why)

	_, err = s.Acknowledge(id, "Ines", "", at("01:06"))
	require.ErrorIs(t, err, ErrNotNow)

	ts, err = s.Shelve(id, "Rui", "longer", at("08:00"), at("01:10"))
	require.NoError(t, err, "a new end")
	require.Len(t, ts, 1)
	assert.Equal(t, [2]State{Shelved, Shelved}, [2]State{ts[0].From, ts[0].To})

	assert.Empty(t, s.Advance(at("07:59")))
	ts = s.Advance(at("08:00"))
	require.Len(t, ts, 1)
	assert.Equal(t, Unacknowledged, ts[0].To)
	assert.Zero(t, s.View().Incidents[1].Until)
}

func TestUnshelve(t *testing.T) {
	s, id, _ := raised()
	_, err := s.Shelve(id, "Ines", "sampling", at("07:00"), at("01:05"))
	require.NoError(t, err)
	ts, err := s.Unshelve(id, "Rui", "done", at("01:10"))
	require.NoError(t, err)
	require.Len(t, ts, 1)
	assert.Equal(t, Unacknowledged, ts[0].To)
	assert.Equal(t, "Rui", ts[0].By)
	_, err = s.Unshelve("nothing", "Rui", "", at("01:11"))
	assert.ErrorIs(t, err, ErrUnknownIncident)
}

func TestGrownWorseEndsAShelving(t *testing.T) {
	s := newScene(Options{})
	s.find("01:00", "FV3", detect.Refermentation, detect.Medium)
	_, err := s.Shelve(s.told[0].ID, "Ines", "until morning", at("07:00"), at("01:05"))
	require.NoError(t, err)
	s.told = nil
	s.find("02:00", "FV3", detect.Refermentation, detect.High)
	require.Equal(t, []string{"02:00 FV3 refermentation high shelved>unacknowledged"}, s.lines())
	assert.Equal(t, "it grew worse", s.told[0].Why)
}

func TestWhatCannotBeShelved(t *testing.T) {
	s, batch, vessel := raised()
	for _, row := range []struct {
		name, id, why string
		length        time.Duration
		want          error
		says          string
	}{
		{"no reason", batch, " ", time.Hour, ErrShelving, "say why"},
		{"over already", batch, "x", 0, ErrShelving, "passed already"},
		{"for ever", batch, "x", 8 * 24 * time.Hour, ErrShelving, "seven days"},
		{"a vessel's alarm for the night", vessel, "x", time.Hour + time.Minute, ErrShelving, "one hour at most"},
		{"unknown", "zzz", "x", time.Hour, ErrUnknownIncident, "zzz"},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := s.Shelve(row.id, "Ines", row.why, at("01:05").Add(row.length), at("01:05"))
			require.ErrorIs(t, err, row.want)
			assert.ErrorContains(t, err, row.says)
		})
	}
	_, err := s.Shelve(vessel, "Ines", "fitting a new valve", at("02:05"), at("01:05"))
	require.NoError(t, err, "an hour is granted")
}

func TestOutOfServiceIsNotShelved(t *testing.T) {
	s := newScene(Options{Tuning: map[detect.Alarm]Tuning{detect.Leak: {OutOfService: true}}})
	s.find("01:00", "FV3", detect.Leak, detect.Medium)
	_, err := s.Shelve(s.told[0].ID, "Ines", "x", at("02:00"), at("01:05"))
	assert.ErrorIs(t, err, ErrNotNow)
}
