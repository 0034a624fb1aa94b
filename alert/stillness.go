package alert

import (
	"time"

	"spile/detect"
)

// stillness is since when a tank's gravity has stood within a band, by one probe. It is what a person would read off
// the curve, for those who asked to be told; whether beer works is the detectors' to say.
type stillness struct {
	Probe  string    `json:"probe,omitempty"`
	Since  time.Time `json:"since,omitzero"`
	At     time.Time `json:"at,omitzero"` // the newest reading that counts
	Value  float64   `json:"value,omitempty"`
	Low    float64   `json:"low,omitempty"`
	High   float64   `json:"high,omitempty"`
	Strays int       `json:"strays,omitempty"` // readings in a row outside the band
}

// One point of gravity is what a hydrometer in a jar tells apart (common practice); two strays in a row are no bubble.
const (
	stillBand  = 0.001 // SG from the lowest to the highest
	strayLimit = 2
	probeLost  = 2 * time.Hour // then another probe may speak in its place
)

// take hears a reading of gravity.
func (s *stillness) take(r detect.Reading) {
	if r.Quantity != detect.Gravity || r.Late {
		return
	}
	if r.Probe != s.Probe {
		if s.Probe != "" && r.Time.Sub(s.At) <= probeLost {
			return
		}
		*s = stillness{Probe: r.Probe, Since: r.Time, Low: r.Value, High: r.Value}
	}
	low, high := min(s.Low, r.Value), max(s.High, r.Value)
	switch {
	case high-low <= stillBand:
		s.Low, s.High, s.Strays = low, high, 0
	case s.Strays+1 < strayLimit:
		s.Strays++
		return
	default:
		s.Since, s.Low, s.High, s.Strays = r.Time, r.Value, r.Value, 0
	}
	s.At, s.Value = r.Time, r.Value
}

// heard tells whether the probe still speaks.
func (s *stillness) heard(at time.Time) bool { return !s.At.IsZero() && at.Sub(s.At) <= probeLost }

// length is how long gravity has been seen to stand still, 0 where nobody looks any more.
func (s *stillness) length(at time.Time) time.Duration {
	if !s.heard(at) {
		return 0
	}
	return s.At.Sub(s.Since)
}
