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
	leakEnough    = 0.09           // g/L that is gone for every exchange lag, some 5 kPa at cellar temperature
	leakLeastKPa  = 5.0            // gauge, below which there is little to lose and the weather is as large
	reliefMayPass = 0.85           // of the relief setting: from there on a valve may let gas go
	leakOver      = 0.10           // g/L per day: less than that, and the pressure holds again ...
	leakHeld      = 12 * time.Hour // ... once it has for so long
)

// lost is the CO2 in g/L that is gone whatever the exchange lag: the least of
// the sums downward. Gas that goes into cold beer lowers it for no lag alike.
func (b *balance) lost() float64 { return slices.Min(b.Loss[:]) }

// holds tells whether a leaking tank's pressure has held for long enough. A slow
// leak seems to rest for hours, while beer that warms gives back what it takes.
func (h *head) holds(at time.Time, now bool) bool {
	switch {
	case !now:
		h.Rested = time.Time{}
	case h.Rested.IsZero():
		h.Rested = at
	}
	return now && at.Sub(h.Rested) >= leakHeld
}

// leak names a closed tank that loses CO2, after a finished block of a gauge.
func (t *Tank) leak(r Reading, b *balance) []Finding {
	h := &t.state.Head
	gas := t.state.Book.Gas
	// Where yeast works, what is lost is rather let go by a valve.
	closed := (gas == GasClosed || gas == GasUnknown) && !h.Blown && !t.state.Verdict.Active
	relief := t.settings.ReliefKPa
	witnesses := (relief <= 0 || r.Value < reliefMayPass*relief) && !t.cooling()
	was := h.Leaking
	switch rate, ok := b.rate(trailForLeaks); {
	case !closed:
		h.Leaking = false
	case !witnesses || !ok: // it can neither begin nor be over
	case !was:
		h.Leaking = b.lost() >= leakEnough && r.Value > leakLeastKPa && rate.Value < -leakOver
		h.Rested = time.Time{}
	default:
		h.Leaking = !h.holds(b.At, rate.Value >= -leakOver)
	}
	if h.Leaking == was {
		return nil
	}
	value := r.Value
	f := Finding{
		Alarm: Leak, Active: h.Leaking, Time: r.Arrived, Onset: b.LostAt,
		Evidence: Evidence{
			PressureKPa: &value,
			Witnesses:   []string{fmt.Sprintf("%s: %s", r.Probe, t.pressure(value))},
			RuledOut:    []string{"cooling, and CO2 going into the beer at any lag from minutes to 40 h: both allowed for"},
		},
	}
	if !h.Leaking {
		f.Summary = fmt.Sprintf("%s: head pressure holds at %s", t.name, t.pressure(value))
		return []Finding{f}
	}
	f.Summary = fmt.Sprintf("%s: losing head pressure: %.2f g/L of CO2 gone since %s, %s now; cooling does not explain it",
		t.name, b.lost(), t.clock(b.LostAt), t.pressure(value))
	return []Finding{f}
}
