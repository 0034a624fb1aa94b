package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/cmd/daemon"
	"spile/detect"
)

// expecting writes a scenario file.
func expecting(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "mine.scenario")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// replayedNight runs the recorded night and gives its steps.
func replayedNight(t *testing.T) (steps []alert.Transition, done daemon.Replayed) {
	t.Helper()
	capture, err := os.Open(nightFile)
	require.NoError(t, err)
	defer func() { require.NoError(t, capture.Close()) }()
	o := daemon.Options{Watch: alert.Options{Default: detect.Settings{ReliefKPa: 200}}}
	done, err = daemon.Replay(t.Context(), o, capture, func(more []alert.Transition) { steps = append(steps, more...) })
	require.NoError(t, err)
	return steps, done
}

func TestTheRecordedNightHoldsItsExpectations(t *testing.T) {
	steps, done := replayedNight(t)
	assert.NoError(t, hold("../../testdata/nights/creep.scenario", steps, done.From, done.To))

	wrong := expecting(t, "expect FV4: refermentation\nexpect FV3: no refermentation\nexpect FV3: refermentation by day 1 09:00\n")
	err := hold(wrong, steps, done.From, done.To)
	require.Error(t, err)
	assert.ErrorContains(t, err, "mine.scenario:1: refermentation of FV4 was expected, but it never came\n")
	assert.ErrorContains(t, err, "mine.scenario:2: no refermentation of FV3 was expected, but high refermentation of FV3 came at day 2 ")
	assert.ErrorContains(t, err, "mine.scenario:3: refermentation of FV3 was expected by day 1 09:00, but came only at day 2 ")
}

func TestHoldKnowsWhoIsCalled(t *testing.T) {
	start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	step := func(hour int, from, to alert.State) alert.Transition {
		return alert.Transition{
			ID: "a", Time: start.Add(time.Duration(hour) * time.Hour), Tank: "FV3", Alarm: detect.Leak, Priority: detect.Medium,
			From: from, To: to,
		}
	}
	steps := []alert.Transition{
		step(1, alert.Normal, alert.Suppressed),
		step(2, alert.Suppressed, alert.Unacknowledged),
		step(3, alert.Unacknowledged, alert.Acknowledged),
		step(4, alert.Acknowledged, alert.Normal),
	}
	end := start.Add(24 * time.Hour)
	assert.NoError(t, hold(expecting(t, "expect leak between day 1 09:30 and day 1 10:30, returns by day 1 12:00"), steps, start, end))
	assert.ErrorContains(t, hold(expecting(t, "expect leak, returns by day 1 11:59"), steps, start, end), "returned only at day 1 12:00")
	assert.ErrorContains(t, hold(expecting(t, "expect no leak by day 1 10:00"), steps, start, end), "came at day 1 10:00")
	assert.NoError(t, hold(expecting(t, "expect no leak by day 1 09:59"), steps, start, end), "suppressed by then, nobody was called")
}

func TestHoldSaysWhatItCannotRead(t *testing.T) {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	assert.ErrorIs(t, hold(filepath.Join(t.TempDir(), "gone"), nil, now, now), os.ErrNotExist)
	assert.ErrorContains(t, hold(expecting(t, "expect nothing\nexpect lek\n"), nil, now, now), `mine.scenario:2: expect: "lek" is no alarm: did you mean "leak"?`)
	assert.ErrorContains(t, hold(expecting(t, "expect nothing\n"), nil, time.Time{}, time.Time{}), "is the capture empty?")
}

func TestAScenarioIsNoCapture(t *testing.T) {
	replay := func(args ...string) (code int, said string) {
		var out bytes.Buffer
		code = execute(t.Context(), append([]string{"replay"}, args...), streams{out: &out, err: &out})
		return code, out.String()
	}
	path := expecting(t, "# What should come.\nexpect FV4: nothing\n")
	code, said := replay(path)
	assert.Equal(t, exitFailed, code, said)
	assert.Equal(t, "spile: "+path+" is a scenario, no capture: give it by --expect, and behind it the capture that is held against it, "+
		"as spile replay --expect "+path+" CAPTURE\n", said)

	text := filepath.Join(t.TempDir(), "notes.txt")
	require.NoError(t, os.WriteFile(text, []byte("the tank was fine\n"), 0o600))
	code, said = replay(text)
	assert.Equal(t, exitOK, code, "a bad line is counted, not fatal")
	assert.Contains(t, said, "0 messages: a capture has one in each line")
	assert.Contains(t, said, "bad line 1: ")
	assert.NotContains(t, said, "0001", "no date that nobody heard anything at")
}
