package ingest

import (
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// Correction is what is known of a probe's errors.
type Correction struct {
	// Offset is added to the value as sent, inside unit of the quantity (K for a temperature).
	Offset map[detect.Quantity]float64
	// Calibration is the temperature in degC at which a hydrometer reads right;
	// nil: it corrects itself, or nobody said.
	Calibration *float64
	// Line brings gravities as sent onto known solutions; nil: there were none.
	Line *Straight
	// From is when offsets and line begin to count, by the reading's own time; zero: they always did.
	From time.Time
}

// correct turns the raw values of one message into values. A gravity is
// corrected by the temperature that the same probe sent in the same message
// for the same time; without one it keeps its offset only, and beyond the range
// of the formula likewise (such beer is hot caustic).
func (c Correction) correct(readings []detect.Reading) {
	for i := range readings {
		readings[i].Value = c.straighten(readings[i])
	}
	if c.Calibration == nil {
		return
	}
	celsius := map[time.Time]float64{}
	for _, r := range readings {
		if r.Quantity == detect.Temperature {
			celsius[r.Time] = r.Value
		}
	}
	for i, r := range readings {
		t, known := celsius[r.Time]
		if r.Quantity != detect.Gravity || !known {
			continue
		}
		if sg, err := beer.CorrectHydrometer(r.Value, t, *c.Calibration); err == nil {
			readings[i].Value = sg
		}
	}
}

// straighten is a raw value with the probe's offset and line.
func (c Correction) straighten(r detect.Reading) float64 {
	if r.Time.Before(c.From) {
		return r.Raw
	}
	value := r.Raw
	if c.Line != nil && r.Quantity == detect.Gravity {
		value = c.Line.Apply(value)
	}
	return value + c.Offset[r.Quantity]
}
