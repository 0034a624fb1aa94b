package detect

import (
	"math"
	"time"
)

// head watches one tank's head pressure against the vessel's limits, and names
// a rise that nothing explains.
type head struct {
	Block   block
	Trail   []sample // the last hour and a half in blocks of five minutes
	Blown   bool     // blown down to the air, logged or not, and not closed since
	Over    bool
	Past    bool // above the relief setting since it is over
	Under   air
	Zero    float64 // kPa at or below 0 that the gauge reads in an open tank, learned
	Aired   float64 // kPa above or below 0 that it read when the tank was last seen to stand open
	Soon    int     // blocks in a row that head for a limit soon enough to be told
	Rising  bool
	Faded   time.Time // since when a rise that was told is explained again
	Leaking bool
	Slow    bool      // days alone have told that it leaks
	Gone    gone      // what it had is gone already: not a leak for sure, and a question
	Rested  time.Time // newest block of a leaking tank from which on its pressure has held
}

// sample is a value at a time.
type sample struct {
	At    time.Time
	Value float64
}

// pace is how fast a value moves to a later one, an hour.
func (s sample) pace(to sample) float64 { return math.Abs(to.Value-s.Value) / to.At.Sub(s.At).Hours() }

// Limits of the vessel. Relief and spunding practice differ from cellar to
// cellar: these are common practice, and never the safety device.
const (
	reliefShare      = 0.90 // of the relief setting: over-pressure
	reliefShareHeld  = 0.97 // the same above a valve that is known to hold
	heldMargin       = 4.0  // kPa above what a valve holds before it counts as rising past it
	overDeadband     = 10.0 // kPa
	zeroReach        = 4.0  // kPa around 0 in which a gauge's zero may lie
	zeroDrift        = 0.5  // kPa/h: weather moves no faster
	headWidth        = 5 * time.Minute
	headTrail        = 90 * time.Minute
	headLong         = 65 * time.Minute // a trend must hold over this ...
	headShort        = 25 * time.Minute // ... and over this ...
	headLast         = 12 * time.Minute // ... and still go on
	headAhead        = 1.0              // h that a projection looks ahead
	soonBlocks       = 3                // blocks in a row before a projection counts
	fastestByCooling = 20.0             // kPa/h: a quicker fall is a blow-down
	fastestByNature  = 40.0             // kPa/h: neither yeast nor warming lifts pressure faster
	steadyShare      = 0.7              // of the long trend that the short one must hold: gas put on by hand soon levels off
	airReach         = 3.5              // kPa around 0 where a tank that was blown down stands open to the air
	stillClosed      = 4.5              // kPa, of a block's mean: the tank is not open
	closedAgain      = 6.0              // kPa at which it must have been closed
	riseUnexplained  = 10.0             // kPa beyond what is explained: pressure-rise
	riseDeadband     = 4.0              // kPa
	riseFades        = 3 * time.Hour    // that a rise is explained before it is over: the sums of slow lags swing with the thermostat
)

// takePressure follows a head-pressure probe. One that sits at the bottom
// reads the beer above it too, and is not judged as head pressure.
func (t *Tank) takePressure(r Reading) []Finding {
	if at := t.settings.At[r.Probe]; at != "" && at != Head && at != Top {
		return nil
	}
	b := t.state.Balances[r.Probe]
	if b == nil {
		b = &balance{}
		t.state.Balances[r.Probe] = b
	}
	before, step := b.Gate, t.gaugeStep(r)
	if b.Gate.staysAway(r.Value, step) {
		step = math.Inf(1)
	}
	if !b.Gate.pass(r.Value, r.Time, step) {
		if c := t.state.Gauges[r.Probe]; c != nil {
			c.wait(r.Time, r.Value+t.settings.AtmosphereKPa)
		}
		if a := t.state.Lone[r.Probe]; a != nil {
			a.Gauge.wait(r.Time, r.Value+t.settings.AtmosphereKPa)
		}
		return nil
	}
	t.followHead(r)
	out := append(t.overPressure(r), t.vacuum(r)...)
	out = append(append(out, t.takeLone(r)...), t.takeGauge(r)...)
	if b, complete := t.takeBalance(r, before); complete {
		out = append(out, t.judgeBalance(r, b)...)
		out = append(out, t.leak(r, b)...)
	}
	return out
}

// followHead keeps the last hour of pressure and counts how long it has been
// heading for a limit.
func (t *Tank) followHead(r Reading) {
	h := &t.state.Head
	h.noteBlowDown(r)
	done, complete := h.Block.add(r.Time, headWidth, r.Value, 0)
	if !complete {
		return
	}
	level, _, _, _ := done.mean(wildJump)
	h.Trail = append(h.Trail, sample{At: done.Start, Value: level})
	for len(h.Trail) > 3 && done.Start.Sub(h.Trail[0].At) > headTrail {
		h.Trail = h.Trail[1:]
	}
	h.learnZero(level, t.isOpen())
	if level > stillClosed && t.state.Book.Gas == GasOpen {
		t.state.Book.Gas = GasUnknown // the log knows of no closing, but no open tank stands so high
	}
	if t.reliefWithin(level) || t.vacuumComes(level) {
		h.Soon++
	} else {
		h.Soon = 0
	}
}

// learnZero follows what a gauge reads while the tank stands at the pressure of
// the air: its own zero, and the weather if it was closed at the factory.
// Cooling pulls faster than that.
func (h *head) learnZero(level float64, open bool) {
	reach := zeroReach
	if open { // known to be the air's
		reach = -lowestOpenRead
	}
	slope, ok := h.slope(headShort)
	if ok && math.Abs(level) < reach && math.Abs(slope) < zeroDrift {
		shows := h.Zero
		if open && h.Aired > 0 {
			shows = h.Aired
		}
		shows += (level - shows) / 4
		h.Zero = min(h.Zero+(level-h.Zero)/4, 0)
		if open {
			h.Aired = shows
		}
	}
}

// isOpen tells whether the tank stands open, by the log or because it was blown down.
func (t *Tank) isOpen() bool { return t.state.Book.Gas == GasOpen || t.state.Head.Blown }

// noteBlowDown sees a tank blown down to the air, which people do not always
// log: pressure falls faster than cooling can pull it, and stays near zero.
func (h *head) noteBlowDown(r Reading) {
	switch {
	case r.Value > closedAgain:
		h.Blown = false
	case math.Abs(r.Value) < airReach && len(h.Trail) > 0:
		before := h.Trail[len(h.Trail)-1] // a block's mean, so at most ten minutes old
		fall := before.Value - r.Value
		h.Blown = h.Blown || letOff(fall, r.Time.Sub(before.At))
	}
}

// letOff tells whether pressure that fell by so many kPa was let off: cooling would not have pulled it down so fast.
func letOff(fall float64, past time.Duration) bool {
	return fall > max(closedAgain, 2*fastestByCooling*past.Hours())
}

// slope is the pressure's trend in kPa/h over the newest stretch of the trail:
// the given time, or three blocks of a slow gauge.
func (h *head) slope(over time.Duration) (float64, bool) {
	n := len(h.Trail)
	if n < 3 {
		return 0, false
	}
	end := h.Trail[n-1].At
	over = max(over, end.Sub(h.Trail[n-3].At))
	var l line
	for i := n - 1; i >= 0; i-- {
		past := end.Sub(h.Trail[i].At)
		if past > over {
			break
		}
		l.add(past, h.Trail[i].Value)
	}
	f, ok := l.fit()
	return f.slope, ok
}

// trend is the gentler of the last hour's and the last minutes' slopes, in
// kPa/h, and zero where they do not agree: a step by hand, or gas that comes
// back after an opening, is soon over, and its short slope falls away.
func (h *head) trend() float64 {
	long, ok1 := h.slope(headLong)
	short, ok2 := h.slope(headShort)
	last, ok3 := h.slope(headLast)
	same := math.Copysign(1, long)
	if !ok1 || !ok2 || !ok3 || min(short*same, last*same) < steadyShare*math.Abs(long) {
		return 0
	}
	if h.Trail[len(h.Trail)-1].At.Sub(h.Trail[0].At) < headLong-2*headWidth {
		return 0 // too short a look
	}
	return same * min(math.Abs(long), math.Abs(short), math.Abs(last))
}
