package detect

import (
	"math"
	"time"
)

// opening is what is known of a tank that was blown down to the air: the level at which its gauge stands then. People
// close tanks and do not always write it down, and a tank that is taken for open is not watched for a vacuum.
type opening struct {
	Known bool
	Level float64   // kPa, low-passed: the weather moves it
	At    time.Time // newest block that counted
	Apart int       // blocks in a row that no open tank would show
}

// When a tank that was open must have been closed (common practice).
const (
	openHours      = 4.0              // h, time constant of the level
	openRise       = 2.0              // kPa over it: gas that comes out of the beer is held
	openFall       = 1.5              // kPa under it, while the beer is cooled and ...
	openFalling    = 0.4              // kPa/h ... it falls on
	openBlocks     = 3                // in a row
	blowWithin     = 3 * time.Hour    // between the readings before and after
	closedLately   = 20 * time.Minute // before a closing is told of: what gauges showed since then was the air's
	coolingPull    = 6.0              // kPa/h that a strong jacket takes off a full tank
	blowLeast      = 10.0             // kPa that neither a leak nor the weather takes in that time
	lowestOpenRead = -7.0             // kPa: what a gauge that was closed at the factory may show of the air, high up and in low weather
)

// noteOpening follows a tank that was blown down, after each reading: a gauge that shows less than nothing is blown down
// too, and what no open tank does shows that it was closed.
func (t *Tank) noteOpening(r Reading) {
	h, o := &t.state.Head, &t.state.Opening
	h.Blown = h.Blown || t.blownDown(r)
	if !t.isOpen() {
		*o = opening{}
		return
	}
	if len(h.Trail) == 0 || !h.Trail[len(h.Trail)-1].At.After(o.At) {
		return
	}
	newest := h.Trail[len(h.Trail)-1]
	switch past := newest.At.Sub(o.At); {
	case math.Abs(newest.Value) > -lowestOpenRead: // not blown down yet
	case !o.Known:
		*o = opening{Known: true, Level: newest.Value}
	case t.apart(newest.Value - o.Level):
		o.Apart++
	default:
		o.Apart = 0
		o.Level += (1 - math.Exp(-past.Hours()/openHours)) * (newest.Value - o.Level)
	}
	o.At = newest.At
	if o.Apart >= openBlocks {
		t.closed()
	}
}

// blownDown tells whether a reading is the air's after a fall that no cooling makes: too fast for it, or without any.
func (t *Tank) blownDown(r Reading) bool {
	before := t.state.Balances[r.Probe].Gate.Before
	past := r.Time.Sub(before.At)
	if before.At.IsZero() || past > blowWithin || r.Value >= airReach || r.Value <= lowestOpenRead {
		return false
	}
	fall := before.Value - r.Value
	return letOff(fall, past) || fall > blowLeast && !t.cooling()
}

// gaugeStep is the jump between two readings that asks for a second one: of a gauge that seldom speaks, what cooling may
// do meanwhile is none.
func (t *Tank) gaugeStep(r Reading) float64 {
	g := t.state.Balances[r.Probe].Gate
	if past := r.Time.Sub(g.At); g.Seen && past >= seldomSpeaks && past < blowWithin && t.cooling() {
		return wildJump + coolingPull*past.Hours()
	}
	return wildJump
}

// apart tells whether the gauge stands where no open tank's does.
func (t *Tank) apart(off float64) bool {
	long, ok := t.state.Head.slope(headLong)
	return off > openRise || off < -openFall && ok && long < -openFalling && t.cooling()
}

// closedAt is a closing that was logged. What gauges read just before is the air's: their zero.
func (t *Tank) closedAt(at, told time.Time) {
	h := &t.state.Head
	if t.isOpen() && told.Sub(at) < closedLately {
		for _, b := range t.state.Balances {
			if g := b.Gate; told.Sub(g.At) < closedLately && g.Value > lowestOpenRead {
				h.Zero = min(h.Zero, g.Value)
				if h.Zero < 0 { // above it, gas may have come back already
					h.Aired = h.Zero
				}
			}
		}
	}
	t.closed()
}

// closed takes the tank for closed.
func (t *Tank) closed() {
	t.state.Head.Blown, t.state.Opening = false, opening{}
	if t.state.Book.Gas == GasOpen {
		t.state.Book.Gas = GasUnknown
	}
}
