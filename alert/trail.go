package alert

import (
	"time"

	"spile/detect"
)

// samplePace is how often the tanks are looked at to be compared with each other.
const samplePace = 10 * time.Minute

// trail is what one quantity of each tank was of late, by tank, oldest first.
type trail map[string][]sample

// sample is a reading at the pace of a trail.
type sample struct {
	At    time.Time `json:"at"` // of the reading
	Probe string    `json:"probe"`
	Value float64   `json:"value"` // inside unit
}

// sample notes what the tanks are compared by: the beer's temperature where it has a setpoint, head pressure where gas is
// joined.
func (w *Watch) sample() {
	for _, v := range w.vessels {
		s := v.tank.Status()
		w.cooling.Samples.follow(v.name, s.Last[detect.Temperature], w.at, s.SetpointCelsius != nil && !s.Empty, samplesKept)
		w.heads.follow(v.name, s.Last[detect.Pressure], w.at, w.settings(v.name).GasGroup != "", joinedKept)
	}
}

// follow keeps a tank's newest reading while it is wanted and the tank is heard, and else forgets the tank.
func (t trail) follow(tank string, r detect.Latest, at time.Time, wanted bool, most int) {
	if !wanted || r.Time.IsZero() || at.Sub(r.Time) > probeLost {
		delete(t, tank)
		return
	}
	t.keep(tank, r, most)
}

// keep adds a reading to a tank's samples, of which so many stay. One probe speaks for the tank while it is heard:
// another reads a little differently.
func (t trail) keep(tank string, r detect.Latest, most int) {
	kept := t[tank]
	if n := len(kept); n > 0 {
		gap := r.Time.Sub(kept[n-1].At)
		switch other := kept[n-1].Probe != r.Probe; {
		case gap <= 0 || other && gap <= probeLost:
			return
		case other:
			kept = nil
		}
	}
	kept = append(kept, sample{At: r.Time, Probe: r.Probe, Value: r.Value})
	t[tank] = kept[max(0, len(kept)-most):]
}

// moved is by how much a tank's quantity changed since a moment, or since its first sample after it; false where there
// are not two.
func (t trail) moved(tank string, since time.Time) (float64, bool) {
	kept := t[tank]
	for i, s := range kept {
		if !s.At.Before(since) {
			return kept[len(kept)-1].Value - s.Value, i < len(kept)-1
		}
	}
	return 0, false
}
