package detect

import (
	"fmt"
	"slices"
	"time"
)

// When a closed tank is held to lose head pressure (common practice). Beer gives
// off what a leak takes, so that the gauge falls ten times slower than the gas
// is lost; the balance sees the whole.
const (
	leakEnough   = 0.09           // g/L that is gone for every exchange lag, some 5 kPa at cellar temperature
	leakLeastKPa = 5.0            // gauge, below which there is little to lose and the weather is as large
	leakOver     = 0.10           // g/L per day: less than that, and the pressure holds again ...
	leakHeld     = 12 * time.Hour // ... once it has for so long
	leakDrop     = 4.4            // kPa that a drop must come to: three deviations of what rough weather (1.5 kPa) does in half a day. It ...
	dropDoubt    = 11.0           // ... is asked so many nats more than chance, for it may be the weather, ...
	leakSeen     = 0.025          // g/L ... until the balance, which asks nothing of the shape, has lost so much; ...
	dropAgrees   = 19.0           // nats are enough (of rough weather, which moves both, four nights in 300 tank-years came to 15 to 17) where ...
	leakAgrees   = 0.055          // g/L ... it has lost nearly enough, and between these, in proportion
	dropYoung    = 6.0            // nats more of a drop that has just lasted long enough, less and less ...
	dropGrown    = 6.0            // h ... until it has for so long: weather as quick as that is mostly over by then, a leak goes on
	dropRested   = 6 * time.Hour  // after an act, sooner than which no drop begins: it is gas that comes to rest
	dropOld      = 12 * time.Hour // that a drop has lasted, from when on ...
	dropGoesDown = 0.2            // ... so much of it must have come in the newest half day: gas that people put on comes to rest, a leak goes on
	plainlyLost  = 2 * leakEnough // g/L that need no shape, where ...
	plainlyAfter = 2 * time.Hour  // ... it has gone on for so long after the stretch that a rate is told over
	dropNoStep   = 2.0            // nats by which it must be no step: hands let gas off, or drew beer, and did not log it
)

// lost is the CO2 in g/L that is gone whatever the exchange lag: the least of
// the sums downward. Gas that goes into cold beer lowers it for no lag alike.
func (b *balance) lost() float64 { return slices.Min(b.Loss[:]) }

// holds tells whether a leaking tank's pressure has held for long enough. A slow
// leak seems to rest for hours, while beer that warms gives back what it takes.
func (h *head) holds(at time.Time, now bool) bool {
	return lasted(&h.Rested, now, at) >= leakHeld
}

// calm is how far a tank's balance wanders downward while nothing leaks: the weather on its gauge, a thermometer that is
// not the whole tank. A tank whose balance is seen to stand still needs to lose less to be named.
type calm struct {
	Since  time.Time // from when on it was watched
	Peak   float64   // g/L, of the excursion that goes on
	Widest float64   // g/L, of those that came back
}

// How much an excursion must pass those that came back (common practice).
const (
	calmLeast  = 48 * time.Hour // of watching
	calmTimes  = 3.5
	calmPast   = 0.015 // g/L
	leakAtBest = 0.06  // g/L, the least that is named
)

// watch follows the excursions of one balance.
func (c *calm) watch(b *balance) {
	switch lost := b.lost(); {
	case c.Since.IsZero() || b.Since.After(c.Since):
		*c = calm{Since: b.Since, Widest: c.Widest}
	case lost > 0:
		c.Peak = max(c.Peak, lost)
	default:
		c.Widest, c.Peak = max(c.Widest, c.Peak), 0
	}
}

// enough is the loss that is no wandering.
func (c *calm) enough(at time.Time) float64 {
	if at.Sub(c.Since) < unsettled+calmLeast {
		return leakEnough
	}
	return min(max(leakAtBest, calmTimes*c.Widest+calmPast), leakEnough)
}

// leak names a closed tank that loses CO2, after a finished block of a gauge.
func (t *Tank) leak(r Reading, b *balance) []Finding {
	h, closed := &t.state.Head, t.mayLeak(r)
	// Near its relief a valve may let gas go, and cooling beer takes it: then a leak can neither begin nor be over.
	witnesses, was := !t.mayLift(r.Value) && !t.cooling(), h.Leaking
	gauge := t.state.Gauges[r.Probe]
	if gauge != nil {
		shut := closed && !t.mayLift(r.Value)
		gauge.keepDays(r.Time, shut)
		t.keepSteady(gauge, b, shut)
	}
	if h.Gone.Probe != "" {
		return t.judgeGone(r, closed)
	}
	if !was {
		if gauge != nil && gauge.letDown(b, t.headspaceShare()) {
			b.forget()
		}
		t.calm(r.Probe).watch(b)
	}
	switch rate, ok := b.rate(trailForLeaks); {
	case !closed:
		h.Leaking = false
	case !witnesses || !ok:
	case !was:
		soon := t.loses(r.Probe, b, rate) || t.drops(r.Probe, b)
		h.Slow = !soon && t.fades(r.Probe).KPa > 0
		h.Leaking = r.Value > leakLeastKPa && (soon || h.Slow) && !t.offRegulator(r.Probe)
		h.Rested = time.Time{}
		if h.Leaking {
			break
		}
		if h.Gone = t.perhapsGone(r, gauge, b); h.Gone.Probe != "" {
			return []Finding{t.goneFinding(r)}
		}
	default:
		h.Leaking = !t.holdsAgain(gauge, b, rate)
	}
	if h.Leaking == was {
		return nil
	}
	f := t.leakFinding(r, b, closed)
	if !h.Leaking {
		t.daysAnew(r.Time)
	}
	return []Finding{f}
}

// mayLeak tells whether a tank is closed, so that what it loses is a leak. Where yeast works, it is rather let go by a valve.
func (t *Tank) mayLeak(r Reading) bool {
	return (t.state.Book.Gas.mayBeClosed() || t.shutBelow(r)) && !t.state.Head.Blown && !t.state.Verdict.Active
}

// shutBelow tells whether the pressure is below what a spunding valve is set to: there it is shut, and the tank closed as any other.
func (t *Tank) shutBelow(r Reading) bool {
	held := t.state.Book.HeldKPa
	return t.state.Book.Gas == GasHeldAbove && (r.Value < held-heldMargin || t.state.Head.Leaking && r.Value < held)
}

// leakFinding puts a change into words.
func (t *Tank) leakFinding(r Reading, b *balance, closed bool) Finding {
	h, value := &t.state.Head, r.Value
	f := Finding{
		Alarm: Leak, Active: h.Leaking, Time: r.Arrived, Onset: b.LostAt,
		Evidence: Evidence{
			PressureKPa: &value,
			Witnesses:   []string{fmt.Sprintf("%s: %s", r.Probe, t.pressure(value))},
			RuledOut:    []string{"cooling, and CO2 going into the beer at any lag from minutes to 40 h: both allowed for"},
		},
	}
	switch {
	case !closed:
		f.Summary = fmt.Sprintf("%s: no longer watched for a leak: the tank is not closed, or yeast works; %s now", t.name, t.pressure(value))
		return f
	case !h.Leaking:
		f.Summary = fmt.Sprintf("%s: head pressure holds at %s", t.name, t.pressure(value))
		return f
	}
	gone := fmt.Sprintf("%.2f g/L of CO2 gone since %s", b.lost(), t.clock(b.LostAt))
	switch {
	case h.Slow:
		slow := t.fades(r.Probe)
		f.Onset, gone = slow.Since, fmt.Sprintf("slowly, day by day, down %s since about %s", t.pressure(slow.KPa), t.day(slow.Since))
	case b.lost() < t.calm(r.Probe).enough(b.At): // the drop told it, so that there is one
		drop := t.state.Gauges[r.Probe].Drop
		f.Onset, gone = drop.At, fmt.Sprintf("down %s since about %s", t.pressure(drop.KPa), t.clock(drop.At))
	}
	f.Summary = fmt.Sprintf("%s: losing head pressure: %s, %s now; cooling does not explain it", t.name, gone, t.pressure(value))
	if t.shutBelow(r) {
		f.Summary += fmt.Sprintf(". By the log a valve holds %s: was it set lower?", t.pressure(t.state.Book.HeldKPa))
	}
	return f
}

// drops tells whether a gauge's pressure has gone down as nothing else than a leak lets it. The more CO2 the balance has
// lost, the less is asked of the drop. One from long ago must show in the balance, too, which knows what temperature, or
// gas that was put on, has done since.
func (t *Tank) drops(probe string, b *balance) bool {
	c := t.state.Gauges[probe]
	if c == nil || c.Drop.KPa < leakDrop || c.Drop.Step < dropNoStep || b.At.Sub(c.Since) < unsettled {
		return false
	}
	lasts := b.At.Sub(c.Drop.At)
	hands := Later(c.Since, t.state.Book.HandsOn)
	if lasts >= dropNear && b.lost() < leakSeen || c.Drop.At.Sub(hands) < dropRested {
		return false
	}
	if lasts >= dropOld && c.fell(dropOld) < dropGoesDown*c.Drop.KPa || c.givesBack(t.headspaceShare()) {
		return false
	}
	agree := min(max(b.lost()-leakSeen, 0)/(leakAgrees-leakSeen), 1)
	alone := t.scoreNeeded() + dropDoubt
	young := dropYoung * max(0, 1-(lasts.Hours()-dropLasts)/(dropGrown-dropLasts))
	return c.Drop.Score >= alone+agree*(dropAgrees-alone)+young
}

// loses tells whether the balance alone shows that CO2 goes, at a rate in g/L per day. What went within the hours in which
// a drop would show must show as one, too: the swing of a thermostat feigns a loss to a balance for some hours. And what
// may as well be a step must go on when that is over.
func (t *Tank) loses(probe string, b *balance, rate Interval) bool {
	c := t.state.Gauges[probe]
	switch {
	case b.lost() < t.calm(probe).enough(b.At) || rate.Value >= -leakOver:
		return false
	case c == nil || b.At.Sub(b.LostAt) >= dropNear || b.losesPlainly(rate):
		return true
	}
	goesOn := c.Drop.Step >= dropNoStep || b.At.Sub(c.Drop.At) >= trailForLeaks
	return c.Drop.Score >= dropAgrees && goesOn && !c.givesBack(t.headspaceShare())
}

// losesPlainly tells whether far more is gone than a thermostat feigns, and goes on going for so long that no step that hands
// made can be it: a leak through a hole slows down with the pressure, and looks like a step to a gauge that seldom speaks.
func (b *balance) losesPlainly(rate Interval) bool {
	over := b.over(trailForLeaks)
	after := b.At.Sub(b.LostAt) >= over+plainlyAfter
	return after && b.lost() >= plainlyLost && rate.Value*over.Hours()/24 <= -leakEnough
}

// calm is what is known of one gauge's wandering.
func (t *Tank) calm(probe string) *calm {
	if t.state.Calms[probe] == nil {
		t.state.Calms[probe] = &calm{}
	}
	return t.state.Calms[probe]
}
