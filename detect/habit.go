package detect

import (
	"math"
	"math/bits"
	"time"
)

// habit is how the readings of one quantity of a probe usually come. What does
// not come so is a fault: a probe that measures has noise in its last digits.
type habit struct {
	Heard   int
	Raw     float64   // the newest, as sent
	Before  float64   // the one before
	Since   time.Time // first of the readings in a row that are all the same
	Same    int       // how many they are
	Digit   float64   // the smallest change ever seen: the last digit; 0: none yet
	Broad   float64   // share of readings that are more than a digit off the one before, learned
	Wild    uint64    // a bit for each of the newest readings that stood alone
	Warmth  bool      // the temperature is known since they began to be the same
	Celsius float64   // and was this then
	Degrees int       // readings in a row that would be right as degF
	Level   level     // of a float
	Failing failing
}

// What a probe's noise looks like (common practice).
const (
	broadDigits  = 1.5  // digits
	broadLeast   = 0.1  // share of readings, from which a probe counts as one that shows noise
	broadMemory  = 50.0 // readings
	sameByChance = 1e-4 // likelihood of so many same readings from a probe with such noise
	sameLeast    = 8    // readings
	wildOf       = 50   // readings looked at
)

// follow takes one reading in.
func (h *habit) follow(r Reading) {
	change := math.Abs(r.Raw - h.Raw)
	h.Degrees = 0
	h.Wild <<= 1
	if h.Heard >= 2 && alone(h.Before, h.Raw, r.Raw, wildSize(r.Quantity)) {
		h.Wild |= 1
	}
	if h.Heard > 0 && change == 0 {
		h.Heard++
		h.Same++
		h.Before = h.Raw
		return
	}
	if h.Heard > 0 {
		if h.Digit == 0 || change < h.Digit {
			h.Digit = change
		}
		h.learnBroad(change > broadDigits*h.Digit)
	}
	h.Heard++
	h.Before, h.Raw = h.Raw, r.Raw
	h.Since, h.Same = r.Time, 1
}

// learnBroad follows how often readings differ by more than their last digit.
// Readings that were all the same count only now that they have ended, so that
// a probe that sticks keeps its name for noise.
func (h *habit) learnBroad(broad bool) {
	if h.Failing == sound {
		h.Broad *= math.Pow(1-1/broadMemory, float64(h.Same))
	}
	if broad {
		h.Broad += 1 / broadMemory
	}
}

// alone tells whether the middle one of three readings stands off both others, on the same side.
func alone(before, middle, after, size float64) bool {
	return min(middle-before, middle-after) > size || min(before-middle, after-middle) > size
}

// wildSize is how far off a reading must stand to count as wild.
func wildSize(q Quantity) float64 {
	switch q {
	case Gravity:
		return wildGravity
	case Temperature:
		return driftJump
	}
	return wildJump
}

// frozen tells whether so many same readings cannot be chance.
func (h *habit) frozen() bool {
	return h.Same >= sameLeast && h.Broad >= broadLeast && math.Pow(1-min(h.Broad, 1), float64(h.Same)) < sameByChance
}

// standsAlone is how many of the newest readings stood alone.
func (h *habit) standsAlone() int { return bits.OnesCount64(h.Wild & (1<<wildOf - 1)) }
