package batch

import (
	"math"
	"slices"
	"time"

	"spile/detect"
)

// hour is what one probe said of one quantity within an hour of its own time; of pressure, within five minutes, for a
// tank is blown down in less than an hour.
type hour struct {
	Start  time.Time
	Newest time.Time
	Value  float64 // mean, without what stands far off the median
	Low    float64
	High   float64
	N      int
}

// width is how long an hour of a quantity is.
func width(q detect.Quantity) time.Duration {
	if q == detect.Pressure {
		return 5 * time.Minute
	}
	return time.Hour
}

// curve is one probe's hours of one quantity. The hour that is still open is kept reading by reading.
type curve struct {
	hours []hour
	open  []detect.Reading
	last  time.Time
}

// stray is how far from an hour's median a reading may lie to count: beyond it is a bubble or a radio error.
func stray(q detect.Quantity) float64 {
	switch q {
	case detect.Gravity:
		return 0.004 // SG
	case detect.Temperature:
		return 3 // K
	case detect.Pressure:
	}
	return math.Inf(1) // a tank is blown down in a minute
}

// A reading that no beer gives: an empty tank, caustic, a float in the air.
const (
	lightestBeer = 0.985
	densestBeer  = 1.150
	warmestBeer  = 45.0 // degC
)

// believed tells whether a reading can be of beer.
func believed(r detect.Reading) bool {
	switch r.Quantity {
	case detect.Gravity:
		return r.Value >= lightestBeer && r.Value <= densestBeer
	case detect.Temperature:
		return r.Value <= warmestBeer
	case detect.Pressure:
	}
	return true
}

// take adds a reading; one that is no newer than the newest is left out, so that a stretch may be read twice.
func (c *curve) take(r detect.Reading) {
	if !believed(r) || !r.Time.After(c.last) {
		return
	}
	c.last = r.Time
	w := width(r.Quantity)
	if len(c.open) > 0 && !c.open[0].Time.Truncate(w).Equal(r.Time.Truncate(w)) {
		c.hours = append(c.hours, summarise(c.open))
		c.open = c.open[:0]
	}
	c.open = append(c.open, r)
}

// until are the hours up to a moment. An hour that the moment cuts is left out, but for the one still open.
func (c *curve) until(at time.Time) []hour {
	n, _ := slices.BinarySearchFunc(c.hours, at, func(h hour, at time.Time) int { return h.Newest.Compare(at.Add(1)) })
	out := c.hours[:n:n]
	if n < len(c.hours) {
		return out
	}
	var heard []detect.Reading
	for _, r := range c.open {
		if !r.Time.After(at) {
			heard = append(heard, r)
		}
	}
	if len(heard) > 0 {
		out = append(out, summarise(heard))
	}
	return out
}

// summarise makes an hour of its readings.
func summarise(rs []detect.Reading) hour {
	values := make([]float64, len(rs))
	for i, r := range rs {
		values[i] = r.Value
	}
	slices.Sort(values)
	middle, cut := values[len(values)/2], stray(rs[0].Quantity)
	h := hour{Start: rs[0].Time.Truncate(width(rs[0].Quantity)), Low: math.Inf(1), High: math.Inf(-1)}
	for _, r := range rs {
		if math.Abs(r.Value-middle) > cut {
			continue
		}
		h.Value += r.Value
		h.Low, h.High = min(h.Low, r.Value), max(h.High, r.Value)
		h.Newest = r.Time
		h.N++
	}
	h.Value /= float64(h.N) // the median itself is always within the cut
	return h
}
