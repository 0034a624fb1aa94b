package main

import (
	"fmt"
	"os"
	"time"

	"spile/alert"
	"spile/detect/scenario"
)

// hold holds what a replay raised against the expectations of a scenario file. It is nil when all came as expected,
// otherwise the expectations that failed, a line each, or why the file cannot be read. What the file says of a tank
// and its readings is left aside: the capture had its own.
func hold(path string, steps []alert.Transition, from, to time.Time) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("read the expectations: %w", err)
	}
	s, err := scenario.Parse(path, string(text))
	if err != nil {
		return err
	}
	if from.IsZero() {
		return fmt.Errorf("%s: nothing was heard, so nothing can be held against it: is the capture empty?", path)
	}
	return s.Hold(spoken(steps), from, to)
}

// spoken is what of each step an expectation can speak of.
func spoken(steps []alert.Transition) []scenario.Step {
	out := make([]scenario.Step, 0, len(steps))
	for _, t := range steps {
		out = append(out, scenario.Step{
			Time: t.Time, Incident: t.ID, Tank: t.Tank, Alarm: t.Alarm, Probe: t.Probe, Priority: t.Priority,
			Called: t.To == alert.Unacknowledged, Over: t.To == alert.Returned || t.To == alert.Normal,
			Summary: t.Summary,
		})
	}
	return out
}
