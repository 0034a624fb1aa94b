package detect

import (
	"cmp"
	"slices"
	"time"
)

// Messages of several probes may arrive in one moment: a gateway sends what it has gathered. Nobody knows which of them the
// journal writes first, so that none may tell of the beer's temperature to another of the same moment: each is held against
// what was known before it, and which thermometer speaks from then on is settled once the moment is over.

// glimpse is what was known of the beer before the newest moment.
type glimpse struct {
	Arrived     time.Time // that moment
	By          string    // the probe that is heard just now; empty: none
	Pressure    Latest
	Gravity     Latest
	Thermometer string        // the probe that spoke for the beer ...
	Pause       time.Duration // ... and how long it is silent between its words, as is its habit
	Gate        gate
	Trail       time.Time // the newest mean of its trail
	Noise       float64   // K, of one of them
	Rests       bool      // the beer was at its setpoint
}

// unheard is for how long the beer's thermometer may be silent before nobody knows what temperature did meanwhile. One that
// speaks each hour is not silent between its words.
func (g *glimpse) unheard() time.Duration {
	return min(max(dropGap, g.Pause+g.Pause/pauseSlack), warmthGood)
}

// pauseSlack is the part of a pause by which the next word may be late.
const pauseSlack = 8

// offer is a thermometer that would speak for the beer: the one that does is lost, or rides in a warmer layer.
type offer struct {
	Probe string
	Value float64
	Time  time.Time
	Lost  bool
}

// notice begins a moment, if it is a new one.
func (t *Tank) notice(at time.Time) {
	d := &t.state.Drift
	t.state.Beer.By = ""
	if !at.After(t.state.Beer.Arrived) {
		return
	}
	t.settleDoor()
	t.settleSpeaker()
	if t.state.kept {
		t.settleWitnesses()
		t.state.kept = false
	}
	t.state.Beer = glimpse{Arrived: at, Thermometer: d.Thermometer, Gate: d.Gate, Noise: d.Ahead.Noise, Rests: d.Reached && d.Side == within}
	t.state.Beer.Pressure, t.state.Beer.Gravity = t.state.Last[Pressure], t.state.Last[Gravity]
	if p := t.state.Probes[d.Thermometer]; p != nil {
		t.state.Beer.Pause = p.Habit
	}
	if n := len(d.Ahead.Trail); n > 0 {
		t.state.Beer.Trail = d.Ahead.Trail[n-1].At
	}
}

// settleWitnesses forgets what they were before the moment that is over, and settles what was unsure of it.
func (t *Tank) settleWitnesses() {
	for _, f := range t.state.Floats {
		f.Was = nil
	}
	for _, b := range t.state.Balances {
		b.Was = nil
	}
	for _, c := range t.state.Gauges {
		c.Was = nil
		if !c.Unsure.IsZero() && c.Unsure.Sub(t.state.Drift.Gate.At) > t.state.Beer.unheard() {
			c.Blind = c.Unsure
		}
		c.Unsure = time.Time{}
	}
}

// offers tells whether a thermometer that does not speak for the beer would, and keeps its word until the moment is over: a
// probe that measures temperature alone goes before a float, for a float rides in the warmest layer.
func (t *Tank) offers(r Reading) bool {
	d, was := &t.state.Drift, &t.state.Beer
	lost := was.Thermometer == "" || r.Time.Sub(was.Gate.At) > thermometerLost
	if !lost && !t.goesBefore(r.Probe, d.Thermometer) {
		return false
	}
	d.Offers = append(slices.DeleteFunc(d.Offers, func(o offer) bool { return o.Probe == r.Probe }),
		offer{Probe: r.Probe, Value: r.Value, Time: r.Time, Lost: lost})
	return true
}

// goesBefore tells whether a thermometer outranks another.
func (t *Tank) goesBefore(probe, other string) bool {
	return t.state.Floats[probe] == nil && t.state.Floats[other] != nil
}

// settleSpeaker lets the best of those that offered themselves speak for the beer, unless the one that did was heard after all.
func (t *Tank) settleSpeaker() {
	d := &t.state.Drift
	if len(d.Offers) == 0 {
		return
	}
	heard := d.Gate.At.After(t.state.Beer.Gate.At)
	open := slices.DeleteFunc(d.Offers, func(o offer) bool {
		return !t.goesBefore(o.Probe, d.Thermometer) && (heard || !o.Lost)
	})
	d.Offers = nil
	if len(open) == 0 {
		return
	}
	best := slices.MinFunc(open, func(a, b offer) int {
		if t.goesBefore(a.Probe, b.Probe) != t.goesBefore(b.Probe, a.Probe) {
			if t.goesBefore(a.Probe, b.Probe) {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.Probe, b.Probe)
	})
	d.change(best.Probe)
	d.Gate.pass(best.Value, best.Time, driftJump)
}

// temperatureAsOf is the newest temperature of the beer from before a moment, as it was known before what arrives now. A
// probe that was out of reach sends hours at once, long after: what the beer was then is in the trail.
func (t *Tank) temperatureAsOf(at time.Time, good time.Duration) (float64, bool) {
	was := &t.state.Beer
	if celsius, ok := was.Gate.asOf(at, good); ok || was.Gate.Before.At.IsZero() || was.Gate.Before.At.Before(at) {
		return celsius, ok
	}
	for _, mean := range slices.Backward(t.state.Drift.Ahead.Trail) {
		if ended := mean.At.Add(headingWidth); ended.Before(at) && !mean.At.After(was.Trail) {
			return mean.Value, at.Sub(ended) <= good
		}
	}
	return 0, false
}
