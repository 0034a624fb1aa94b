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
}

// correct turns the raw values of one message into values. A gravity is
// corrected by the temperature that the same probe sent in the same message
// for the same time; without one it keeps its offset only, and beyond the range
// of the formula likewise (such beer is hot caustic).
func (c Correction) correct(readings []detect.Reading) {
	for i := range readings {
		readings[i].Value = readings[i].Raw + c.Offset[readings[i].Quantity]
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
