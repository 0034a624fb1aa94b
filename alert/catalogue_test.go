package alert

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestCatalogueHoldsEveryAlarmOnce(t *testing.T) {
	want := []detect.Alarm{
		detect.Refermentation, detect.CrashDrift, detect.PressureRise, detect.OverPressure, detect.Vacuum, detect.Leak,
		detect.FreezeRisk, detect.NotFinished, detect.ProbeSilent, detect.ProbeFault, detect.HopCharge, detect.GravityCheck, detect.LinkLost, CoolingPlant, WebhookFailing,
		JournalStopped, JournalDisk, JournalDamaged, InfluxBehind, InfluxMissed, ProbeFlood,
	}
	var got []detect.Alarm
	for _, d := range Catalogue() {
		got = append(got, d.Alarm)
	}
	assert.ElementsMatch(t, want, got)
}

func TestCatalogueIsFitToBeRead(t *testing.T) {
	for i, d := range Catalogue() {
		t.Run(string(d.Alarm), func(t *testing.T) {
			assert.Positive(t, d.Priority.Rank())
			assert.Contains(t, []Scope{Vessel, Batch, Cellar}, d.Scope)
			assert.NotEmpty(t, d.Title)
			assert.NotContains(t, d.Title, ".", "a title goes into a headline")
			for _, text := range []string{d.Meaning, d.LookFirst} {
				assert.Regexp(t, `[.?]$`, text)
			}
			assert.GreaterOrEqual(t, d.OnDelay, time.Duration(0))
			for _, parent := range d.SuppressedBy {
				assert.Less(t, place(parent), i, "a parent stands before its child")
			}
			for _, word := range []string{"safe to open", "safe to package"} {
				assert.NotContains(t, strings.ToLower(d.Meaning+d.LookFirst+d.Safety), word)
			}
		})
	}
}

func TestCautionsStandWherePeopleCanBeHurt(t *testing.T) {
	for alarm, words := range map[detect.Alarm][]string{
		detect.Refermentation: {"CO2", "alone", "burst", "gloves", "eye protection", "local"},
		detect.PressureRise:   {"CO2", "alone", "local code"},
		detect.Leak:           {"CO2", "alone", "local code"},
		detect.OverPressure:   {"clamp", "manway", "relief", "plug", "blocked", "CO2", "local code"},
		detect.Vacuum:         {"Stop cooling", "CO2 in", "top vent", "bottom", "Caustic", "collapse", "local code"},
		detect.FreezeRisk:     {"Ice", "vacuum breaker", "Glycol", "do not sell"},
		detect.CrashDrift:     {"warms", "gains head pressure", "below atmosphere", "clear of the relief", "manway", "Glycol", "local code"},
		CoolingPlant:          {"licensed", "warms", "gains head pressure", "clear of the relief", "manway", "local code"},
		detect.NotFinished:    {"burst", "gloves", "eye protection", "cold", "rating", "local law"},
		detect.HopCharge:      {"erupt", "zero at the tank", "local code"},
		detect.GravityCheck:   {"open slowly", "cover eyes", "CO2", "local code"},
	} {
		d, ok := Define(alarm)
		require.True(t, ok)
		for _, word := range words {
			assert.Contains(t, d.Safety, word, alarm)
		}
		assert.NotEmpty(t, d.Caution, "%s: the message says it too", alarm)
	}
}

func TestDefineKnowsNoOtherAlarm(t *testing.T) {
	_, ok := Define("kettle-on")
	assert.False(t, ok)
}
