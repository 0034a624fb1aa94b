package detect

import (
	"maps"
	"slices"
)

// A probe outside may be published under a name of its own or under a tank's. What it says is of no tank, and what speaks
// under a name that only such probes have is none either.

// NotOfAir tells whether a pressure, kPa absolute, is one that the air has nowhere: a gauge that counts from the air, or a
// wrong unit, says such.
func NotOfAir(kPa float64) bool { return kPa < airLeast || kPa > airMost }

// hearOutside keeps the newest pressure of a probe outside for people to look at, right or wrong.
func (t *Tank) hearOutside(r Reading) {
	if r.Late || r.Quantity != Pressure || t.state.Probes[r.Probe].Out {
		return
	}
	if r.Time.Before(t.state.Outside[r.Probe].Time) {
		return
	}
	t.state.Outside[r.Probe] = Latest{Value: r.Value, Time: r.Time, Probe: r.Probe}
}

// isOutside tells of what is no tank: probes outside alone were heard, and nothing was logged but that one was moved.
func (t *Tank) isOutside() bool {
	if t.state.Logged || len(t.state.Probes) == 0 {
		return false
	}
	for name := range t.state.Probes {
		if !t.settings.IsOutside(name) {
			return false
		}
	}
	return true
}

// air is the newest that each probe outside said, by name; those that were taken away are left out.
func (t *Tank) air() []Latest {
	var out []Latest
	for _, name := range slices.Sorted(maps.Keys(t.state.Outside)) {
		if t.settings.IsOutside(name) && !t.state.Probes[name].Out {
			out = append(out, t.state.Outside[name])
		}
	}
	return out
}
