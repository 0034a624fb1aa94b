package alert

import (
	"fmt"
	"math"
	"slices"

	"spile/detect"
)

// How the gauges of tanks whose gas is joined are compared (our choice). What one of them makes or loses, or the header
// itself, moves all; a gauge's own noise, its lag and the sun on it are less than this.
const (
	joinedKept  = 37  // samples: six hours
	joinedNoise = 1.0 // kPa
	joinedAlike = 0.5 // of the larger move
)

// joined lists the tanks whose gas is joined with this one's and whose head pressure has moved with its own.
func (w *Watch) joined(v *vessel) []*vessel {
	group := w.settings(v.name).GasGroup
	if group == "" {
		return nil
	}
	var out []*vessel
	for _, other := range w.vessels {
		if other != v && w.settings(other.name).GasGroup == group && w.moveAlike(v.name, other.name) {
			out = append(out, other)
		}
	}
	return out
}

// moveAlike tells whether two heads moved by the same over what is known of both.
func (w *Watch) moveAlike(a, b string) bool {
	if len(w.heads[a]) == 0 || len(w.heads[b]) == 0 {
		return false
	}
	since := detect.Later(w.heads[a][0].At, w.heads[b][0].At).Add(-samplePace / 2) // their readings come at moments of their own
	one, known := w.heads.moved(a, since)
	two, both := w.heads.moved(b, since)
	apart := max(joinedNoise, joinedAlike*max(math.Abs(one), math.Abs(two)))
	return known && both && math.Abs(one-two) <= apart
}

// ofTheGas tells whether a finding rests on head pressure alone, and so may be another tank's where the gas is joined.
// Over-pressure and vacuum are no such finding: they concern the vessel, whatever moved its gas.
func ofTheGas(f detect.Finding) bool {
	return f.Alarm == detect.PressureRise || f.Alarm == detect.Leak ||
		f.Alarm == detect.Refermentation && f.Quantity == detect.Pressure
}

// nameJoined adds to findings that rest on head pressure which tanks moved with theirs.
func (w *Watch) nameJoined(v *vessel, found []detect.Finding) []detect.Finding {
	for i, f := range found {
		if !f.Active || !ofTheGas(f) {
			continue
		}
		for _, other := range w.joined(v) {
			found[i].Evidence.Joined = append(found[i].Evidence.Joined, other.name)
		}
	}
	return found
}

// toldByAnother says which tank's alarm stands for this one, because their gas is joined and moved alike; empty where
// none does. The one that was told first stands for the others.
func (w *Watch) toldByAnother(v *vessel, c *condition) string {
	if !ofTheGas(c.Finding) {
		return ""
	}
	for _, other := range w.joined(v) {
		if slices.ContainsFunc(other.conditions, func(p *condition) bool { return p.speaksFor(c) }) {
			return fmt.Sprintf("told by %s, whose gas is joined", other.name)
		}
	}
	return ""
}

// speaksFor tells whether an alarm of a joined tank was told before this one, and says the same of their gas.
func (p *condition) speaksFor(c *condition) bool {
	told := p.Standing.Active && !p.Standing.Suppressed && !p.Standing.Removed
	first := !c.Standing.Active || c.Standing.Suppressed || p.Raised.Before(c.Raised)
	same := ofTheGas(p.Finding) || p.Finding.Alarm == detect.Refermentation
	return told && first && same && (p.Finding.Alarm == detect.Leak) == (c.Finding.Alarm == detect.Leak)
}
