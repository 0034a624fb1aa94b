package detect

import (
	"fmt"
	"time"
)

// How a vacuum is told before it comes. Gauges that are closed at the factory
// have the weather on them, and a zero of their own: what one of them shows
// near zero is not the last word (common practice).
const (
	vacuumLimit    = -1.0 // kPa below the gauge's learned zero
	vacuumOpen     = -4.5 // kPa, in a tank that stands open: it can hold no vacuum, so rather a gauge's zero
	vacuumDeadband = 1.0  // kPa
	vacuumNear     = 4.5  // kPa: nearer than this a cooling tank is looked at closely
	vacuumMargin   = 2.0  // kPa above zero at which cooling may not end: that much a gauge can be off
	vacuumAhead    = 2.0  // h: time to put CO2 on
	stillFalling   = 0.2  // kPa/h, a little less than weather can
	cooledLately   = 60 * time.Hour
	coolsReally    = 0.7 // K since the setpoint was logged
	// perKelvin is how much of its absolute pressure a closed tank loses for
	// each kelvin that it cools, by the solubility of CO2 between 1 and 10 degC.
	perKelvin = 0.034
)

// vacuumComes tells whether cooling takes the pressure below the atmosphere.
func (t *Tank) vacuumComes(level float64) bool {
	h := &t.state.Head
	if h.Blown || t.state.Book.Gas == GasOpen || t.state.Book.Gas == GasHeldBelow || !t.cooling() {
		return false
	}
	long, ok1 := h.slope(headLong)
	short, ok2 := h.slope(headShort)
	if !ok1 || !ok2 || -long < stillFalling || -long > fastestByCooling || -short < 0 {
		return false
	}
	left := t.coolingLeft() * perKelvin * (level + t.settings.AtmosphereKPa)
	if level < vacuumNear && level-left < vacuumMargin+h.Zero {
		return true
	}
	return level+max(long, short)*vacuumAhead < vacuumMargin/2+h.Zero
}

// cooling tells whether beer is being cooled, logged or not, or only just was:
// CO2 goes on into cold beer for a day or two.
func (t *Tank) cooling() bool {
	for _, w := range t.state.Balances {
		if w.Mild-w.Celsius > coolsReally {
			return true
		}
	}
	b, d := t.state.Book, &t.state.Drift
	return b.HasSetpoint && t.state.Now.Sub(b.SetAt) < cooledLately && d.Start-d.Gate.Value > coolsReally
}

// coolingLeft is how far beer still has to cool to its setpoint, K.
func (t *Tank) coolingLeft() float64 {
	if celsius, ok := t.beerTemperature(t.state.Now); ok {
		return max(celsius-t.state.Book.Setpoint, 0)
	}
	return 0
}

// vacuum holds the head pressure against the atmosphere.
func (t *Tank) vacuum(r Reading) []Finding {
	h := &t.state.Head
	soon := h.Soon >= soonBlocks && t.vacuumComes(r.Value)
	was := h.Under
	limit := h.Zero + vacuumLimit
	if t.state.Book.Gas == GasOpen || h.Blown {
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
		f.Summary = fmt.Sprintf("%s: head pressure %s at %s and falling %s an hour: cooling will take it below atmosphere",
			t.name, t.pressure(value), t.clock(r.Time), t.pressure(h.fall()))
	}
	return []Finding{f}
}

// fall is how fast the pressure falls over the last hour, kPa/h.
func (h *head) fall() float64 {
	long, _ := h.slope(headLong)
	return -long
}
