package detect

import "math"

// A still tank is layered, and thermometers are off by something: a float at the top reads one to three kelvin over the
// well. While both are heard that is learned, so that the beer does not seem to warm once the well falls silent and the
// float speaks for it.

// aside is how far a thermometer stands over the one that speaks for the beer, K.
type aside struct {
	Kelvin float64
	N      int // readings that it was learned from
}

// How it is learned (common practice).
const (
	asideKnown  = 12   // readings from which on it counts
	asideMemory = 48.0 // readings
	asideStep   = 1.0  // K by which one reading may differ from what is known: a wild one moves little
	asideMost   = 3.5  // K: further off it is no layer
)

// learnAside takes a reading of a thermometer that does not speak for the beer, while the beer rests at its setpoint: beer
// that is being cooled is layered otherwise.
func (t *Tank) learnAside(r Reading) {
	d := &t.state.Drift
	beer, ok := d.Gate.asOf(r.Time, warmthGood)
	if !ok || !t.state.Book.HasSetpoint || !d.Reached || d.Side != within || r.Time.Before(t.state.Book.HandsOn) {
		return
	}
	a, off := d.Aside[r.Probe], r.Value-(beer-d.asideOf())
	if a.N > 0 {
		off = min(max(off, a.Kelvin-asideStep), a.Kelvin+asideStep)
	}
	a.N++
	a.Kelvin += (off - a.Kelvin) / min(float64(a.N), asideMemory)
	if d.Aside == nil {
		d.Aside = map[string]aside{}
	}
	d.Aside[r.Probe] = a
}

// asideOf is what is known of the thermometer that speaks now; nothing, of one that nobody has compared.
func (d *drift) asideOf() float64 {
	if a := d.Aside[d.Thermometer]; a.N >= asideKnown && math.Abs(a.Kelvin) <= asideMost {
		return a.Kelvin
	}
	return 0
}
