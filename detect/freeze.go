package detect

import (
	"fmt"

	"spile/detect/beer"
)

// How near to its freezing point beer may come (common practice). A tank that
// is held that cold on purpose is judged by its setpoint instead.
const (
	freezeMargin   = 0.3  // K over the freezing point
	freezeDeadband = 0.3  // K
	coldOnPurpose  = 0.5  // K under such a setpoint
	ordinaryFreeze = -1.0 // degC: no ordinary beer freezes above it, as the trade teaches
)

// freezingPoint is where ice may begin in this beer, on the safe side, degC.
func (t *Tank) freezingPoint() float64 {
	latest := t.seen(Gravity)
	if t.state.Book.OriginalSG == 0 || latest.Time.IsZero() {
		return ordinaryFreeze
	}
	f, err := beer.Balling(t.state.Book.OriginalSG, latest.Value)
	if err != nil {
		return ordinaryFreeze
	}
	_, safe, err := beer.FreezingPoint(f.AlcoholByWeight, max(f.RealExtract, 0))
	if err != nil {
		return ordinaryFreeze
	}
	return safe
}

// freezeRisk holds one believed temperature against the beer's freezing point.
func (t *Tank) freezeRisk(r Reading) []Finding {
	d, b := &t.state.Drift, t.state.Book
	limit := t.freezingPoint() + freezeMargin
	if b.HasSetpoint && b.Setpoint <= limit {
		limit = b.Setpoint - coldOnPurpose
	}
	was, coldest := d.Freezing, r.Value-max(0, d.asideOf()) // a float in the warmest layer sees ice last
	d.Freezing = !b.Empty && (coldest <= limit || (was && coldest < limit+freezeDeadband))
	if d.Freezing == was {
		return nil
	}
	value := coldest // of the finding alone: most readings bring none, and need no memory
	f := Finding{
		Alarm: FreezeRisk, Active: d.Freezing, Time: r.Arrived, Onset: r.Time,
		Evidence: Evidence{
			TemperatureCelsius: &value,
			Witnesses:          []string{fmt.Sprintf("%s: %s", r.Probe, t.temperature(value))},
		},
		Summary: fmt.Sprintf("%s: beer is at %s; ice may begin near %s", t.name, t.temperature(value), t.temperature(t.freezingPoint())),
	}
	if !d.Freezing {
		f.Summary = fmt.Sprintf("%s: beer is away from its freezing point again, at %s", t.name, t.temperature(value))
	}
	return []Finding{f}
}
