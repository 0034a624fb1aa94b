package detect

import (
	"fmt"
	"math"
	"time"
)

// head watches one tank's head pressure against the vessel's limits, and names
// a rise that nothing explains.
type head struct {
	Block   block
	Trail   []sample // the last hour in blocks of five minutes
	Over    bool
	Under   bool
	Zero    float64 // kPa at or below 0 that the gauge reads in an open tank, learned
	Soon    int     // blocks in a row that head for a limit within the hour
	Rising  bool
	RiseAt  time.Time
	Settled float64 // unexplained rise when the finding began, kPa
}

// sample is a value at a time.
type sample struct {
	At    time.Time
	Value float64
}

// Limits of the vessel. Relief and spunding practice differ from cellar to
// cellar: these are common practice, and never the safety device.
const (
	reliefShare      = 0.90 // of the relief setting: over-pressure
	reliefShareHeld  = 0.97 // the same above a valve that is known to hold
	heldMargin       = 4.0  // kPa above what a valve holds before it counts as rising past it
	overDeadband     = 10.0 // kPa
	vacuumLimit      = -1.0 // kPa gauge: a gauge's zero may be off by some tenths
	zeroReach        = 4.0  // kPa around 0 in which a gauge's zero may lie
	zeroDrift        = 0.5  // kPa/h: weather moves no faster
	vacuumOpen       = -3.0 // kPa, in a tank logged as open: it can hold no vacuum, so rather a gauge's zero
	vacuumDeadband   = 1.0  // kPa
	headWidth        = 5 * time.Minute
	headTrail        = time.Hour
	headAhead        = 1.0  // h that a projection looks ahead
	soonBlocks       = 3    // blocks in a row before a projection counts
	fastestByCooling = 40.0 // kPa/h: a quicker fall is a blow-down
	slowestByCooling = 1.0  // kPa/h
	riseUnexplained  = 10.0 // kPa beyond what is explained: pressure-rise
	riseDeadband     = 4.0  // kPa
)

// takePressure follows a head-pressure probe. One that sits at the bottom
// reads the beer above it too, and is not judged as head pressure.
func (t *Tank) takePressure(r Reading) []Finding {
	if at := t.settings.At[r.Probe]; at != "" && at != Head && at != Top {
		return nil
	}
	if t.state.Balances[r.Probe] == nil {
		t.state.Balances[r.Probe] = &balance{}
	}
	b := t.state.Balances[r.Probe]
	before := b.Gate
	if !b.Gate.pass(r.Value, r.Time, wildJump) {
		return nil
	}
	t.followHead(r)
	out := append(t.overPressure(r), t.vacuum(r)...)
	if b, complete := t.takeBalance(r, before); complete {
		out = append(out, t.judgeBalance(r, b)...)
	}
	return out
}

// followHead keeps the last hour of pressure and counts how long it has been
// heading for a limit.
func (t *Tank) followHead(r Reading) {
	h := &t.state.Head
	done, complete := h.Block.add(r.Time, headWidth, r.Value, 0)
	if !complete {
		return
	}
	level, _, _, _ := done.mean(wildJump)
	h.Trail = append(h.Trail, sample{At: done.Start, Value: level})
	for len(h.Trail) > 0 && done.Start.Sub(h.Trail[0].At) > headTrail {
		h.Trail = h.Trail[1:]
	}
	h.learnZero(level)
	if t.reliefWithin(level) || t.vacuumWithin(level) {
		h.Soon++
	} else {
		h.Soon = 0
	}
}

// learnZero follows what a gauge reads while the tank stands at the pressure of
// the air: its own zero, and the weather if it was closed at the factory.
// Cooling pulls faster than that.
func (h *head) learnZero(level float64) {
	slope, ok := h.slope(6)
	if ok && math.Abs(level) < zeroReach && math.Abs(slope) < zeroDrift {
		h.Zero = min(h.Zero+(level-h.Zero)/4, 0)
	}
}

// slope is the pressure's trend in kPa/h over the newest n blocks.
func (h *head) slope(n int) (float64, bool) {
	if len(h.Trail) < n {
		return 0, false
	}
	newest := h.Trail[len(h.Trail)-n:]
	var sx, sy, sxx, sxy float64
	for _, s := range newest {
		x := s.At.Sub(newest[0].At).Hours()
		sx, sy, sxx, sxy = sx+x, sy+s.Value, sxx+x*x, sxy+x*s.Value
	}
	k := float64(n)
	spread := k*sxx - sx*sx
	if spread <= 0 {
		return 0, false
	}
	return (k*sxy - sx*sy) / spread, true
}

// trend is the gentler of the last hour's and the last twenty minutes' slopes:
// a step by hand is soon over, and its short slope then falls away.
func (h *head) trend() float64 {
	long, ok1 := h.slope(12)
	short, ok2 := h.slope(4)
	if !ok1 || !ok2 || long*short <= 0 {
		return 0
	}
	return math.Copysign(min(math.Abs(long), math.Abs(short)), long)
}

// reliefWithin tells whether the trend reaches the relief setting within the hour.
func (t *Tank) reliefWithin(level float64) bool {
	relief := t.settings.ReliefKPa
	return relief > 0 && level > relief/2 && level+t.state.Head.trend()*headAhead >= relief
}

// vacuumWithin tells whether cooling takes the pressure below atmosphere within the hour.
func (t *Tank) vacuumWithin(level float64) bool {
	fall := -t.state.Head.trend()
	return t.state.Book.Gas != GasOpen && fall >= slowestByCooling && fall <= fastestByCooling &&
		level-fall*headAhead < t.state.Head.Zero+vacuumLimit/2
}

// overPressure holds the head pressure against the relief setting.
func (t *Tank) overPressure(r Reading) []Finding {
	h, b, relief := &t.state.Head, t.state.Book, t.settings.ReliefKPa
	if relief <= 0 {
		return nil
	}
	limit := reliefShare * relief
	if b.Gas == GasHeldAbove && b.HeldKPa > 0 {
		limit = min(max(limit, b.HeldKPa+heldMargin), reliefShareHeld*relief)
	}
	soon := h.Soon >= soonBlocks && t.reliefWithin(r.Value)
	was := h.Over
	h.Over = r.Value >= limit || soon || (was && r.Value > limit-overDeadband)
	if h.Over == was {
		return nil
	}
	value := r.Value
	f := Finding{
		Alarm: OverPressure, Active: h.Over, Time: r.Arrived, Onset: r.Time,
		Evidence: Evidence{
			PressureKPa: &value, ReliefKPa: &relief,
			Witnesses: []string{fmt.Sprintf("%s: %s", r.Probe, t.pressure(value))},
		},
	}
	switch {
	case !h.Over:
		f.Summary = fmt.Sprintf("%s: head pressure is down to %s; the relief valve is set at %s", t.name, t.pressure(value), t.pressure(relief))
	case value >= relief:
		f.Summary = fmt.Sprintf("%s: head pressure %s is above the relief setting of %s; the relief may be blocked", t.name, t.pressure(value), t.pressure(relief))
	case b.Gas == GasHeldAbove && b.HeldKPa > 0 && value > b.HeldKPa+heldMargin:
		f.Summary = fmt.Sprintf("%s: head pressure %s is past the spund setting of %s and still rising; the relief valve is set at %s",
			t.name, t.pressure(value), t.pressure(b.HeldKPa), t.pressure(relief))
	case value >= limit:
		f.Summary = fmt.Sprintf("%s: head pressure %s at %s, %.0f %% of the relief setting of %s",
			t.name, t.pressure(value), t.clock(r.Time), 100*value/relief, t.pressure(relief))
	default:
		f.Summary = fmt.Sprintf("%s: head pressure %s at %s and rising %s an hour: it reaches the relief setting of %s within the hour",
			t.name, t.pressure(value), t.clock(r.Time), t.pressure(h.trend()), t.pressure(relief))
	}
	return []Finding{f}
}

// vacuum holds the head pressure against the atmosphere.
func (t *Tank) vacuum(r Reading) []Finding {
	h := &t.state.Head
	soon := h.Soon >= soonBlocks && t.vacuumWithin(r.Value)
	was := h.Under
	limit := h.Zero + vacuumLimit
	if t.state.Book.Gas == GasOpen {
		limit = h.Zero + vacuumOpen
	}
	h.Under = r.Value <= limit || soon || (was && r.Value < limit+vacuumDeadband)
	if h.Under == was {
		return nil
	}
	value := r.Value
	f := Finding{
		Alarm: Vacuum, Active: h.Under, Time: r.Arrived, Onset: r.Time,
		Evidence: Evidence{PressureKPa: &value, Witnesses: []string{fmt.Sprintf("%s: %s", r.Probe, t.pressure(value))}},
	}
	switch {
	case !h.Under:
		f.Summary = fmt.Sprintf("%s: head pressure is back at %s", t.name, t.pressure(value))
	case value <= limit:
		f.Summary = fmt.Sprintf("%s: head pressure is below atmosphere: %s at %s", t.name, t.pressure(value), t.clock(r.Time))
	default:
		f.Summary = fmt.Sprintf("%s: head pressure %s at %s and falling %s an hour: it goes below atmosphere within the hour",
			t.name, t.pressure(value), t.clock(r.Time), t.pressure(-h.trend()))
	}
	return []Finding{f}
}
