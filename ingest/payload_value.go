package ingest

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// bounds are what can physically be true in a cellar, inside unit. They are
// wide: a tank full of hot caustic, or one under test pressure, is a reading.
func bounds(q detect.Quantity) (low, high float64) {
	switch q {
	case detect.Gravity:
		return 0.980, 1.200
	case detect.Temperature:
		return -20, 110
	case detect.Pressure:
		return -101, 1000 // from a full vacuum, kPa gauge
	}
	return math.Inf(1), math.Inf(-1)
}

// kind is the kind of figure of a quantity.
func kind(q detect.Quantity) beer.Kind { return beer.Kind(q) }

// take checks one raw value, inside unit, and keeps it.
func (h *hearing) take(q detect.Quantity, raw float64, at time.Time) {
	low, high := bounds(q)
	if !(raw >= low && raw <= high) {
		h.refuse(ReasonOutOfRange, "%s %g %s: %s", q, raw, q.Unit(), mendRange(q, raw))
		return
	}
	h.out.Readings = append(h.out.Readings, detect.Reading{
		Tank: h.place.tank, Probe: h.place.probe, Quantity: q, Time: at, Value: raw, Raw: raw, Arrived: h.arrived,
	})
}

// mendRange says what a value out of bounds most likely was.
func mendRange(q detect.Quantity, raw float64) string {
	low, high := bounds(q)
	if unit := detect.LikelyUnit(raw, kind(q), low, high); unit != "" {
		return fmt.Sprintf(`in %s? send {"value":%g,"unit":%q}`, unit, raw, unit)
	}
	return fmt.Sprintf("expected %g to %g: look at the probe and its unit", low, high)
}

// takeFigure reads a value that may carry a unit.
func (h *hearing) takeFigure(q detect.Quantity, v any, at time.Time) {
	raw, err := detect.ParseFigure(v, kind(q))
	if err != nil {
		h.refuseError(string(q), err)
		return
	}
	h.take(q, raw, at)
}

// stamp is the time of the message: its own, or its arrival where it has none.
// A retained message must have its own.
func (h *hearing) stamp(own any) (time.Time, bool) {
	if own == nil {
		if h.message.Retained {
			h.refuse(ReasonRetained, "a retained message without a time could be of any age: publish without the retain flag, or send time")
			return time.Time{}, false
		}
		return h.arrived, true
	}
	at, err := detect.ParseTime(own)
	if err != nil {
		h.refuseError("", err)
		return time.Time{}, false
	}
	return h.believable(at)
}

// believable holds a time against the arrival.
func (h *hearing) believable(at time.Time) (time.Time, bool) {
	if err := detect.CheckTime(at, h.arrived); err != nil {
		h.refuseError("", err)
		return time.Time{}, false
	}
	return at, true
}

// correct applies what is known of the probe to the readings; a value that no
// longer is possible after that is refused.
func (h *hearing) correct() {
	c, known := h.decoder.probes[h.place.probe]
	if !known || len(h.out.Readings) == 0 {
		return
	}
	c.correct(h.out.Readings)
	kept := h.out.Readings[:0]
	for _, r := range h.out.Readings {
		low, high := bounds(r.Quantity)
		if !(r.Value >= low && r.Value <= high) {
			h.refuse(ReasonOutOfRange, "%s %g %s is %g after the corrections of probe %s: look at its offset and calibration",
				r.Quantity, r.Raw, r.Quantity.Unit(), r.Value, r.Probe)
			continue
		}
		kept = append(kept, r)
	}
	h.out.Readings = kept
}

// number reads a JSON number; other JSON values begin with other bytes.
func number(value []byte) (float64, bool) {
	if len(value) == 0 || value[0] != '-' && (value[0] < '0' || value[0] > '9') {
		return 0, false
	}
	v, err := strconv.ParseFloat(string(value), 64)
	return v, err == nil
}
