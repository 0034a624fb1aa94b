package detect

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"
)

// failing is what is wrong with a probe.
type failing string

const (
	sound      failing = ""
	stuck      failing = "stuck"   // a float: the wall, the hop raft, the cone
	blocked    failing = "blocked" // a gauge: its line or its inside, or something holds the pressure
	erratic    failing = "wild"
	fahrenheit failing = "degF"  // a thermometer: the wrong unit
	moved      failing = "moved" // a float: to another tank, or out of the beer
)

// When a probe is doubted (common practice).
const (
	stuckAfter    = 8 * time.Hour
	stuckAnyway   = 24 * time.Hour
	stuckWarmth   = 1.0 // K that its own temperature moves, or the beer's
	stuckOther    = 0.3 // degP that another float moves
	blockedAfter  = 6 * time.Hour
	blockedWarmth = 0.5 // K that the beer's temperature moves
	blockedDigits = 3.0 // digits by which a gauge without noise should have moved
	unknownDigit  = 1.0 // kPa, of a gauge that never changed
	wildMore      = 10  // of the newest readings stood alone: a fault
	wildOver      = 2   // or fewer: sound again
)

// faulty tells whether a probe stands still that should move: then it is no
// witness. One that is only wild still is: its lone values are left out anyway.
func (t *Tank) faulty(probe string) bool {
	for _, h := range t.state.Habits[probe] {
		if h.Failing == stuck || h.Failing == blocked || h.Failing == moved {
			return true
		}
	}
	return false
}

// doubted tells whether anything is wrong with a probe.
func (t *Tank) doubted(probe string) bool {
	for _, h := range t.state.Habits[probe] {
		if h.Failing != sound {
			return true
		}
	}
	return false
}

// watchProbe holds one reading against the habit of its probe. What a probe
// says out of the beer, or in an empty tank, is no fault.
func (t *Tank) watchProbe(r Reading) []Finding {
	if t.state.Book.Empty {
		return nil
	}
	if !ofBeer(r) {
		return t.perhapsFahrenheit(r)
	}
	own := t.state.Habits[r.Probe]
	if own == nil {
		own = map[Quantity]*habit{}
		t.state.Habits[r.Probe] = own
	}
	h := own[r.Quantity]
	if h == nil {
		h = &habit{}
		own[r.Quantity] = h
	}
	h.follow(r)
	if r.Quantity == Pressure && (t.state.Head.Over || t.mayLift(r.Value)) { // a valve that lifts and shuts: no fault of the gauge
		h.Wild &^= 1
	}
	if h.Same == 1 || !h.Warmth {
		h.Celsius, h.Warmth = t.warmthOf(r)
	}
	was, now := h.Failing, t.failing(r, h)
	if now == was {
		return nil
	}
	before := t.doubted(r.Probe)
	h.Failing = now
	switch {
	case now == stuck:
		t.forgetSince(r.Probe, h.Since)
	case now == moved, was == moved:
		delete(t.state.Floats, r.Probe) // what it told of one beer says nothing of the other
	}
	if before == t.doubted(r.Probe) {
		return nil
	}
	return []Finding{t.faultFinding(r, h)}
}

// ofBeer tells whether a reading can be of beer, and not of caustic, air or a dry float.
func ofBeer(r Reading) bool {
	switch r.Quantity {
	case Gravity:
		return r.Value >= lowestInBeer && r.Value <= densestBeer
	case Temperature:
		return r.Value <= warmestInBeer
	}
	return true
}

// warmthOf is the temperature that a probe's readings should move with: a
// float's own, or else the beer's.
func (t *Tank) warmthOf(r Reading) (float64, bool) {
	if r.Quantity == Gravity {
		if own, known := t.state.Probes[r.Probe].Celsius.asOf(r.Time, thermometerLost); known {
			return own, true
		}
	}
	return t.beerTemperature(r.Time)
}

// failing judges what is known of a probe's quantity.
func (t *Tank) failing(r Reading, h *habit) failing {
	elsewhere := t.elsewhere(r, h) // first: it follows the float's level with each reading
	switch wild := h.standsAlone(); {
	case elsewhere:
		return moved
	case wild > wildMore, h.Failing == erratic && wild > wildOver:
		return erratic
	case (h.Failing == stuck || h.Failing == blocked) && h.Same > 1:
		return t.stillFailing(h)
	case r.Quantity == Gravity && t.stuck(r, h):
		return stuck
	case r.Quantity == Pressure && t.blocked(r, h):
		return blocked
	}
	return sound
}

// stillFailing keeps a fault while nothing moves, but no gauge is blamed once something is known to hold the pressure.
func (t *Tank) stillFailing(h *habit) failing {
	if h.Failing == blocked && !t.mayMove() {
		return sound
	}
	return h.Failing
}

// stuck tells whether a float lies still though the beer, or time, moves on.
func (t *Tank) stuck(r Reading, h *habit) bool {
	lasts := r.Time.Sub(h.Since)
	if lasts < stuckAfter || !h.frozen() {
		return false
	}
	now, known := t.warmthOf(r)
	if known && h.Warmth && math.Abs(now-h.Celsius) >= stuckWarmth {
		return true
	}
	return lasts >= stuckAnyway || t.otherMoves(r, h.Since)
}

// forgetSince takes back what a float told since it has been lying still.
func (t *Tank) forgetSince(probe string, since time.Time) {
	f := t.state.Floats[probe]
	if f == nil {
		return
	}
	f.Block = block{}
	for len(f.Points) > 0 && f.Points[len(f.Points)-1].At.Add(floatWidth).After(since) {
		f.Points = f.Points[:len(f.Points)-1]
	}
	f.Points = slices.Clip(f.Points) // what comes next takes no place of theirs
}

// otherMoves tells whether another float has seen gravity move since a time. Hours
// that another float may be finishing at this very moment are left out.
func (t *Tank) otherMoves(r Reading, since time.Time) bool {
	for name, f := range t.state.Floats {
		if name == r.Probe {
			continue
		}
		var first, last *point
		for i := range f.Points {
			p := &f.Points[i]
			if p.At.Before(since) || r.Time.Sub(p.At) < 2*floatWidth {
				continue
			}
			if first == nil {
				first = p
			}
			last = p
		}
		if first != nil && math.Abs(last.Plato-first.Plato) >= stuckOther {
			return true
		}
	}
	return false
}

// blocked tells whether a gauge stands still though the beer warms or cools, and
// nothing is known to hold the pressure. One that shows no noise is held against
// what the gas alone would do: its pressure follows its absolute temperature
// (Gay-Lussac), and CO2 from or into the beer only adds to that.
func (t *Tank) blocked(r Reading, h *habit) bool {
	if !h.Warmth || h.Same < sameLeast || r.Time.Sub(h.Since) < blockedAfter || r.Value <= leakLeastKPa || !t.mayMove() {
		return false
	}
	celsius, known := t.beerTemperature(r.Time)
	if !known {
		return false
	}
	moved := math.Abs(celsius - h.Celsius)
	if moved < blockedWarmth {
		return false
	}
	digit := h.Digit
	if digit == 0 {
		digit = unknownDigit
	}
	expected := (r.Value + t.settings.AtmosphereKPa) * moved / (celsius + zeroCelsius)
	return h.frozen() || expected >= blockedDigits*digit
}

// mayMove tells whether nothing is known to hold the tank's pressure.
func (t *Tank) mayMove() bool {
	gas := t.state.Book.Gas
	return gas.mayBeClosed() && !t.state.Head.Blown
}

// clearFaults forgets the habits of probes that a line of the log moves, or of all as the beer leaves or comes.
func (t *Tank) clearFaults(e Event) []Finding {
	names := slices.Sorted(maps.Keys(t.state.Habits))
	switch _, part := e.Amount("volume"); {
	case e.Name == "probe":
		names = []string{e.Word("id")}
	case e.Name == "pitch", e.Name == "empty", !part && (e.Name == "transfer" || e.Name == "package"):
	default:
		return nil
	}
	var out []Finding
	for _, name := range names {
		if t.doubted(name) {
			out = append(out, Finding{
				Alarm: ProbeFault, Probe: name, Time: e.Arrived, Evidence: Evidence{Probe: name},
				Summary: fmt.Sprintf("%s: %s begins anew (log: %s)", t.name, name, e.Name),
			})
		}
		delete(t.state.Habits, name)
	}
	return out
}

// faultFinding puts a change into words.
func (t *Tank) faultFinding(r Reading, h *habit) Finding {
	f := Finding{
		Alarm: ProbeFault, Probe: r.Probe, Active: h.Failing != sound, Time: r.Arrived,
		Evidence: Evidence{Probe: r.Probe},
	}
	switch h.Failing {
	case sound:
		f.Summary = fmt.Sprintf("%s: %s can be believed again", t.name, r.Probe)
		return f
	case erratic:
		f.Summary = fmt.Sprintf("%s: %s is wild: of its last %d readings of %s, %d stand alone", t.name, r.Probe,
			min(h.Heard, wildOf), r.Quantity, h.standsAlone())
		return f
	case moved:
		f.Onset = r.Time
		f.Summary = fmt.Sprintf("%s: float %s jumps from %.4f to %.4f: is it in another tank, or out of the beer? Log where it is; it is not judged meanwhile; %s",
			t.name, r.Probe, h.Level.Before, median(h.Level.Newest), t.whoWatches(r.Probe))
		return f
	case stuck:
		f.Summary = fmt.Sprintf("%s: float %s is stuck: the same gravity since %s; %s", t.name, r.Probe, t.clock(h.Since), t.whoWatches(r.Probe))
	case blocked:
		holds := "CO2 left on"
		if celsius, _ := t.beerTemperature(r.Time); celsius > h.Celsius {
			holds = "a valve holding"
		}
		if t.mayLift(r.Value) {
			holds = fmt.Sprintf("the relief valve, set at %s, passing gas", t.pressure(t.settings.ReliefKPa))
		}
		f.Summary = fmt.Sprintf("%s: %s shows %s to the last digit since %s while the beer's temperature moves: %s, or the gauge is blocked or dead: it would show no over-pressure, read another at the tank",
			t.name, r.Probe, t.pressure(r.Value), t.clock(h.Since), holds)
	}
	f.Onset = h.Since
	f.Evidence.Witnesses = []string{fmt.Sprintf("%s: %d readings in %s, all the same", r.Probe, h.Same, Spell(r.Time.Sub(h.Since)))}
	return f
}

// whoWatches says what still looks out for yeast while a float is doubted.
func (t *Tank) whoWatches(probe string) string {
	others := append(slices.Sorted(maps.Keys(t.state.Floats)), slices.Sorted(maps.Keys(t.state.Balances))...)
	for _, name := range others {
		if name != probe && !t.faulty(name) {
			return name + " still watches"
		}
	}
	return "nothing else watches for yeast"
}
