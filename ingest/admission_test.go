package ingest

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func dawn() time.Time { return time.Date(2026, 3, 2, 5, 0, 0, 0, time.UTC) }

// says lets an admission look at a message, and tells why it was refused.
func says(a *admission, tank, probe string, at time.Time) string {
	d := Decoded{Source: probeTopic, Readings: []detect.Reading{{Tank: tank, Probe: probe}}}
	a.admit(Message{Topic: "cellar/" + tank + "/" + probe}, &d, at)
	if len(d.Refusals) == 0 {
		return ""
	}
	return d.Refusals[0].Reason
}

// A probe that sends a thousand messages a second is heard for as much as a long backlog is, then ten times a second;
// the others never notice.
func TestAProbeThatSendsWithoutEndIsHeardTenTimesASecond(t *testing.T) {
	var told []string
	a := newAdmission(Names{}, func(problem string) { told = append(told, problem) })
	heard, others := 0, 0
	const seconds = 200
	for i := range seconds * 1000 {
		at := dawn().Add(time.Duration(i) * time.Millisecond)
		if says(a, "FV1", "mad", at) == "" {
			heard++
		}
		if i%1000 == 0 && says(a, "FV1", "calm", at) == "" && says(a, "FV2", "calm", at) == "" {
			others++
		}
	}
	assert.InDelta(t, probeBurst+seconds*probePace, heard, 2)
	assert.Equal(t, seconds, others)
	require.Len(t, told, 1, "said once")
	assert.Contains(t, told[0], "tank FV1, probe mad")
	assert.Empty(t, says(a, "FV1", "mad", dawn().Add(4*time.Hour)), "it is heard again once it is calm")
}

func TestTwoMonthsOfABacklogAreTakenAtOnce(t *testing.T) {
	a := newAdmission(Names{}, nil)
	for range 60 * 24 * 60 {
		require.Empty(t, says(a, "FV1", "hyd", dawn()))
	}
}

// A device that makes up tanks fills what room there is for strangers, and no more. Who is named, or was heard before,
// is served; what was heard of only once is forgotten.
func TestMadeUpTanksHaveAnEnd(t *testing.T) {
	var told []string
	a := newAdmission(Names{Tanks: map[string]bool{"FV1": true}}, func(problem string) { told = append(told, problem) })
	a.remember("FV2", "hyd", dawn())
	admitted := 0
	for i := range 10_000 {
		if says(a, fmt.Sprintf("X%d", i), "p", dawn().Add(time.Duration(i)*time.Millisecond)) == "" {
			admitted++
		}
	}
	assert.Equal(t, learnedMost-1, admitted)
	assert.Len(t, a.tanks, learnedMost)
	assert.Len(t, told, 1)
	at := dawn().Add(time.Minute)
	assert.Empty(t, says(a, "FV1", "hyd", at), "the config names it")
	assert.Empty(t, says(a, "FV2", "hyd", at), "it was heard before")
	assert.Equal(t, reasonTooMany, says(a, "FV3", "hyd", at))

	at = at.Add(25 * time.Hour)
	assert.Empty(t, says(a, "FV3", "hyd", at), "there is room again")
	assert.Len(t, a.tanks, 3)
	for i := range 200 { // a device that goes on for ever learns one a minute
		says(a, fmt.Sprintf("Y%d", i), "p", at)
	}
	assert.Less(t, len(a.tanks), learnedMost)
}

func TestMadeUpProbesHaveAnEnd(t *testing.T) {
	a := newAdmission(Names{Probes: map[string]bool{"hyd-1": true}}, nil)
	for i := range 1000 {
		says(a, "FV1", fmt.Sprintf("x%d", i), dawn())
	}
	assert.Len(t, a.tanks["FV1"].probes, tankProbes)
	assert.Equal(t, reasonTooMany, says(a, "FV1", "hyd-2", dawn()))
	assert.Empty(t, says(a, "FV1", "hyd-1", dawn()))
	assert.Empty(t, says(a, "FV2", "hyd-2", dawn()), "another tank")
}
