package detect

import (
	"fmt"
	"math"
	"time"
)

// A still tank is layered, and thermometers are off by something: a float at the top reads one to three kelvin over the
// well. While both are heard that is learned, so that the beer does not seem to warm once the well falls silent and the
// float speaks for it. It holds for the setpoint under which it was learned: cooled beer is layered otherwise.

// aside is how far a thermometer stands over the one that it was held against, K.
type aside struct {
	Kelvin float64
	Over   string    // that one's name; beside one that is itself known to stand aside, what that one was held against
	N      int       // readings that it was learned from
	At     time.Time // the newest of them
}

// How it is learned (common practice).
const (
	asidePace   = 10 * time.Minute // between two readings that count
	asideKnown  = 12               // readings from which on it counts
	asideMemory = 48.0             // readings
	asideStep   = 1.0              // K by which one reading may differ from what is known: a wild one moves little
	asideMost   = 3.5              // K: further off it is no layer
	asideSaid   = 0.1              // K, from where on it is said
)

// learnAside takes a reading of a thermometer that does not speak for the beer, while the beer rests at its setpoint by one
// that does and was heard just now.
func (t *Tank) learnAside(r Reading) {
	d, a := &t.state.Drift, t.state.Drift.Aside[r.Probe]
	beer, ok := t.state.Beer.Gate.asOf(r.Time, noiseWithin)
	rests := t.state.Book.HasSetpoint && t.state.Beer.Rests && !r.Time.Before(t.state.Book.HandsOn)
	if !ok || !rests || r.Time.Sub(a.At) < asidePace {
		return
	}
	speaks := d.known()
	off := r.Value - (beer - speaks.Kelvin)
	off = min(max(off, a.Kelvin-asideStep), a.Kelvin+asideStep)
	a.Over = speaks.Over
	a.N++
	a.At = r.Time
	a.Kelvin += (off - a.Kelvin) / min(float64(a.N), asideMemory)
	if d.Aside == nil {
		d.Aside = map[string]aside{}
	}
	d.Aside[r.Probe] = a
}

// known is what is known of the thermometer that speaks now; one that nobody has compared is its own measure.
func (d *drift) known() aside {
	if a := d.Aside[d.Thermometer]; a.N >= asideKnown && math.Abs(a.Kelvin) <= asideMost {
		return a
	}
	return aside{Over: d.Thermometer}
}

// asideOf is how far it stands aside, K.
func (d *drift) asideOf() float64 { return d.known().Kelvin }

// readsAside says of the thermometer that speaks how it reads beside the one it was held against; nothing where that is as
// good as alike.
func (t *Tank) readsAside() string {
	a := t.state.Drift.known()
	if math.Abs(a.Kelvin) < asideSaid {
		return ""
	}
	way := "over"
	if a.Kelvin < 0 {
		way = "under"
	}
	return fmt.Sprintf(", which read %s %s %s while both were heard: allowed for", t.difference(math.Abs(a.Kelvin)), way, a.Over)
}

// almost is how near the limit beer is told of whose tops are not known. A float that nobody has compared rides in a layer
// warmer than the beer: what the thermostat does may bring it as near, so it is heard at the limit alone.
func (t *Tank) almost() float64 {
	d := &t.state.Drift
	if t.state.Floats[d.Thermometer] != nil && d.known().Over == d.Thermometer {
		return 0
	}
	return headingAlmost
}
