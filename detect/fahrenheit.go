package detect

import (
	"fmt"
	"math"
)

// A thermometer that was swapped may speak degF where degC is expected: beer at
// 14.4 degC is then "at 57.9 degC", which would pass for caustic (judgement).
const (
	fahrenheitWithin   = 1.0 // K between what the figure means as degF and what the probe said before
	fahrenheitReadings = 4   // in a row
)

// perhapsFahrenheit asks about a probe that is too warm for beer, but not if it means degF.
func (t *Tank) perhapsFahrenheit(r Reading) []Finding {
	h := t.state.Habits[r.Probe][r.Quantity]
	if r.Quantity != Temperature || h == nil || h.Failing == fahrenheit {
		return nil
	}
	meant := (r.Value - 32) / 1.8
	before := t.state.Probes[r.Probe].Celsius
	if !before.Seen || math.Abs(meant-before.Value) > fahrenheitWithin {
		h.Degrees = 0
		return nil
	}
	h.Degrees++
	if h.Degrees < fahrenheitReadings {
		return nil
	}
	asked := t.doubted(r.Probe)
	h.Failing = fahrenheit
	if asked {
		return nil
	}
	value := r.Value
	return []Finding{{
		Alarm: ProbeFault, Probe: r.Probe, Active: true, Time: r.Arrived, Onset: r.Time,
		Evidence: Evidence{Probe: r.Probe, TemperatureCelsius: &value},
		Summary: fmt.Sprintf("%s: %s says %.1f degC; does it speak degF? %.1f degF would be %.1f degC, as before. The beer is not judged by it",
			t.name, r.Probe, value, value, meant),
	}}
}
