package detect

import "fmt"

// reliefWithin tells whether the trend reaches the relief setting within the hour.
func (t *Tank) reliefWithin(level float64) bool {
	relief, rise := t.settings.ReliefKPa, t.state.Head.trend()
	return relief > 0 && level > relief/2 && rise <= fastestByNature && level+rise*headAhead >= relief
}

// reliefMayPass is the share of the relief setting from which a valve may let gas go.
const reliefMayPass = 0.85

// mayLift tells whether the relief valve may be letting gas go at a pressure.
func (t *Tank) mayLift(gaugeKPa float64) bool {
	return t.settings.ReliefKPa > 0 && gaugeKPa >= reliefMayPass*t.settings.ReliefKPa
}

// standsAt is the pressure at which two readings in a row stand: one of them may be the noise's alone, and the first of
// those that the gate let through may have been borne out by no more than a second wild one. A gauge that seldom speaks
// is believed at once.
func (t *Tank) standsAt(r Reading) float64 {
	before := t.state.Balances[r.Probe].Gate.Before
	if before.At.IsZero() || r.Time.Sub(before.At) >= seldomSpeaks {
		return r.Value
	}
	return min(r.Value, before.Value)
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
	was, stands := h.Over, t.standsAt(r)
	h.Over = stands >= limit || soon || (was && r.Value > limit-overDeadband)
	passed := h.Over && stands >= relief && !h.Past
	h.Past = h.Over && (h.Past || passed)
	if h.Over == was && !passed {
		return nil
	}
	value := r.Value
	f := Finding{
		Alarm: OverPressure, Active: h.Over, Worse: passed && was, Time: r.Arrived, Onset: r.Time,
		Evidence: Evidence{
			PressureKPa: &value, ReliefKPa: &relief,
			Witnesses: []string{fmt.Sprintf("%s: %s", r.Probe, t.pressure(value))},
		},
	}
	switch {
	case !h.Over:
		f.Summary = fmt.Sprintf("%s: head pressure is down to %s; the relief valve is set at %s", t.name, t.pressure(value), t.pressure(relief))
	case stands >= relief:
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
