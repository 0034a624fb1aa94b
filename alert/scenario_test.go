package alert

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect/cellarsim"
	"spile/detect/scenario"
)

const scenarios = "../testdata/scenarios"

// scenarioFiles reads the scenarios of a folder.
func scenarioFiles(t *testing.T, folder string) map[string]*scenario.Scenario {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(folder, "*.scenario"))
	require.NoError(t, err)
	out := map[string]*scenario.Scenario{}
	for _, path := range paths {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		s, err := scenario.Parse(filepath.Base(path), string(text))
		require.NoError(t, err)
		out[filepath.Base(path)] = s
	}
	return out
}

// watchScenario plays a scenario before a Watch and gives every step of its alarms.
func watchScenario(t *testing.T, s *scenario.Scenario) []Transition {
	t.Helper()
	w := NewWatch(Options{Site: "scenario", Tanks: s.Settings()})
	told := w.Started(s.Start)
	require.NoError(t, s.Play(func(a cellarsim.Arrival) error {
		if a.Event != nil {
			told = append(told, w.Log(*a.Event)...)
		}
		for _, r := range a.Readings {
			told = append(told, w.Take(r)...)
		}
		return nil
	}))
	return append(told, w.Advance(s.End())...)
}

// stepsOf is what an expectation can speak of.
func stepsOf(told []Transition) []scenario.Step {
	var out []scenario.Step
	for _, tr := range told {
		out = append(out, scenario.Step{
			Time: tr.Time, Incident: tr.ID, Tank: tr.Tank, Alarm: tr.Alarm, Probe: tr.Probe, Priority: tr.Priority,
			Called: tr.To == Unacknowledged, Over: tr.To == Returned || tr.To == Normal, Summary: tr.Summary,
		})
	}
	return out
}

// held plays a scenario and gives what did not come as it expects.
func held(t *testing.T, s *scenario.Scenario) error {
	t.Helper()
	told := watchScenario(t, s)
	for _, tr := range told {
		t.Logf("%s %s > %s, %s: %s", tr.Time.Format("02 15:04"), tr.From, tr.To, tr.Priority, tr.Summary)
	}
	return s.Hold(stepsOf(told), s.Start, s.End())
}

func TestScenarios(t *testing.T) {
	files := scenarioFiles(t, scenarios)
	require.NotEmpty(t, files)
	for name, s := range files {
		t.Run(name, func(t *testing.T) {
			began := time.Now()
			assert.NoError(t, held(t, s))
			t.Logf("played %s in %s", s.Length, time.Since(began))
		})
	}
}

// A scenario can speak of every alarm that a tank can raise.
func TestScenariosKnowTheAlarmsOfATank(t *testing.T) {
	for _, d := range Catalogue() {
		if d.Scope == Cellar {
			continue
		}
		_, err := scenario.Parse("catalogue", "expect no "+string(d.Alarm))
		assert.NoError(t, err)
	}
}

// TestOpenScenarios holds what should be and is not yet. One that begins to pass has earned its place among the others.
func TestOpenScenarios(t *testing.T) {
	for name, s := range scenarioFiles(t, filepath.Join(scenarios, "open")) {
		t.Run(name, func(t *testing.T) {
			err := held(t, s)
			assert.Error(t, err, "it passes now: move %s up to testdata/scenarios", name)
			t.Logf("still open: %v", err)
		})
	}
}
