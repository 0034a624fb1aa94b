package main

import (
	"bytes"
	"context"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
	"spile/detect/trial"
)

func runTrial(t *testing.T, line string) (code int, out, complaints string) {
	t.Helper()
	var answer, err bytes.Buffer
	code = execute(context.Background(), strings.Fields("trial "+line), streams{out: &answer, err: &err})
	return code, answer.String(), err.String()
}

// The figures are detect/trial's own affair; here stands that the command carries them.
func TestTrialAnswersPeople(t *testing.T) {
	code, out, complaints := runTrial(t, "--years 0.1 --class creep-gauge")
	require.Equal(t, exitOK, code, complaints)
	assert.Contains(t, out, "creep-gauge")
	assert.Contains(t, out, "under 10 h")
	assert.NotContains(t, out, "creep-slow", "one class was asked for")
	assert.Contains(t, complaints, "Took ", "how long it took is no figure of the trial")
}

func TestTrialAnswersPrograms(t *testing.T) {
	const line = "--years 0.1 --seed 4 --class creep-gauge --format ndjson --calls"
	code, out, complaints := runTrial(t, line)
	require.Equal(t, exitOK, code)
	assert.Empty(t, complaints)
	kinds := map[any]int{}
	for text := range strings.Lines(out) {
		var fields map[string]any
		require.NoError(t, json.Unmarshal([]byte(text), &fields), text)
		kinds[fields["line"]]++
	}
	assert.Equal(t, 1, kinds["class"])
	assert.NotZero(t, kinds["measure"])
	assert.NotZero(t, kinds["call"])
	_, again, _ := runTrial(t, line+" --workers 1")
	assert.Equal(t, out, again, "the same seed, whatever the workers")
	_, other, _ := runTrial(t, strings.Replace(line, "--seed 4", "--seed 5", 1))
	assert.NotEqual(t, out, other)
}

func TestTrialTellsOneRun(t *testing.T) {
	code, out, complaints := runTrial(t, "--class creep-gauge --run 2")
	require.Equal(t, exitOK, code, complaints)
	for _, part := range []string{"Hop{", "Creep{", "Seal{", "CALL refermentation", "exchange lag"} {
		assert.Contains(t, out, part)
	}
}

func TestTrialRefusesWithAMend(t *testing.T) {
	for line, mend := range map[string]string{
		"--years 0":           "give 0.1 to 10000",
		"--class lager":       "there are quiet, ",
		"--run 3":             "give the class",
		"--format xml":        `"text","ndjson"`,
		"--years 0.1 --calls": "--format ndjson",
	} {
		code, out, complaints := runTrial(t, line)
		assert.Equal(t, exitUsage, code, line)
		assert.Contains(t, complaints, mend)
		assert.Empty(t, out)
	}
}

// The trial's own table of telling, for those who run it without the alarms, is the catalogue's, but for the alarms of
// the cellar: a trial has one tank.
func TestTrialTellsAsTheCatalogueDoes(t *testing.T) {
	usual, cellar := trial.UsualTelling(), map[detect.Alarm]bool{}
	for _, d := range alert.Catalogue() {
		cellar[d.Alarm] = d.Scope == alert.Cellar
	}
	for alarm, telling := range told() {
		if cellar[alarm] {
			assert.NotContains(t, usual, alarm)
			continue
		}
		telling.SuppressedBy = slices.DeleteFunc(telling.SuppressedBy, func(a detect.Alarm) bool { return cellar[a] })
		assert.ElementsMatch(t, usual[alarm].SuppressedBy, telling.SuppressedBy, alarm)
		telling.SuppressedBy = usual[alarm].SuppressedBy
		assert.Equal(t, usual[alarm], telling, alarm)
	}
}
