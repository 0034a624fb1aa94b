package detect

import "fmt"

// reliefWithin tells whether the trend reaches the relief setting within the hour.
func (t *Tank) reliefWithin(level float64) bool {
	relief := t.settings.ReliefKPa
	if relief <= 0 || level <= relief/2 || level+fastestByNature*headAhead < relief { // further than any rise that counts
		return false
	}
	rise := t.state.Head.trend()
	return rise <= fastestByNature && level+rise*headAhead >= relief
}

// reliefMayPass is the share of the relief setting from which a valve may let gas go (common practice).
const reliefMayPass = 0.85

// mayLift tells whether the relief valve may be letting gas go at a pressure.
func (t *Tank) mayLift(gaugeKPa float64) bool {
	return t.settings.ReliefKPa > 0 && gaugeKPa >= reliefMayPass*t.settings.ReliefKPa
}

// What the noise of a gauge that speaks often may do beside a limit (common practice).
const (
	overSure = 1.0 // kPa over it, where two readings in a row are believed; nearer, the mean of some minutes must reach it, too
	levelOf  = 5   // readings that such a mean is taken of
)

// reaches tells whether the pressure stands at a limit: one reading may be there by the noise alone, and the first of those
// that the gate let through may have been borne out by no more than a second wild one. A gauge that seldom speaks is
// believed at once.
func (t *Tank) reaches(r Reading, limit float64) bool {
	before := t.state.Balances[r.Probe].Gate.Before
	if before.At.IsZero() || r.Time.Sub(before.At) >= seldomSpeaks {
		return r.Value >= limit
	}
	stands := min(r.Value, before.Value)
	return stands >= limit+overSure || stands >= limit && t.state.Head.level() >= limit
}

// level is the mean of the newest minutes: of the unfinished block once it has some readings, or of the last one.
func (h *head) level() float64 {
	level, _, _, n := h.Block.mean(wildJump)
	if last := len(h.Trail) - 1; n < levelOf && last >= 0 {
		return h.Trail[last].Value
	}
	return level
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
	h.Over = t.reaches(r, limit) || soon || (was && r.Value > limit-overDeadband)
	passed := h.Over && !h.Past && t.reaches(r, relief)
	h.Past = h.Over && (h.Past || passed)
	if h.Over == was && !passed {
		return nil
	}
	value, set := r.Value, relief // of the finding alone: most readings bring none, and need no memory
	f := Finding{
		Alarm: OverPressure, Active: h.Over, Worse: passed && was, Time: r.Arrived, Onset: r.Time,
		Evidence: Evidence{
			PressureKPa: &value, ReliefKPa: &set,
			Witnesses: []string{fmt.Sprintf("%s: %s", r.Probe, t.pressure(value))},
		},
	}
	switch {
	case !h.Over:
		f.Summary = fmt.Sprintf("%s: head pressure is down to %s; the relief valve is set at %s", t.name, t.pressure(value), t.pressure(relief))
	case value >= relief+overSure:
		f.Summary = fmt.Sprintf("%s: head pressure %s is above the relief setting of %s; the relief may be blocked", t.name, t.pressure(value), t.pressure(relief))
	case value >= relief:
		f.Summary = fmt.Sprintf("%s: head pressure %s has reached the relief setting of %s; the valve should pass gas now, above that it may be blocked",
			t.name, t.pressure(value), t.pressure(relief))
	case b.Gas == GasHeldAbove && b.HeldKPa > 0 && value >= b.HeldKPa+heldMargin:
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
