package creep

import (
	"math"
	"time"
)

// Interval is an estimate with its 95 % bounds.
type Interval struct{ Value, Low, High float64 }

// Course is what has been seen of beer that works again.
type Course struct {
	Now       time.Time
	OnsetLow  time.Time // yeast woke between these two
	OnsetHigh time.Time
	Rate      Interval // of the fall now, degP/day, above zero; once the curve is long it plays no part
	Curve     []Point  // the extract that has gone, oldest first; may be empty
}

// Point is one estimate of the extract that has gone by a time, from any zero that the whole curve shares. The errors of
// two points are taken to be independent: thin a curve whose noise runs on.
type Point struct {
	At    time.Time
	Gone  float64 // degP
	Sigma float64 // degP, standard deviation, above zero
}

// shape is one way a creep can run: its rate rises in a straight line over the ramp, then dies away exponentially as
// what the hops' enzymes have set free runs out.
type shape struct {
	onset time.Time
	ramp  float64 // h
	decay float64 // h, time constant
}

// gone is the share of all the extract that has gone by a time.
func (s shape) gone(at time.Time) float64 {
	x := at.Sub(s.onset).Hours()
	area := s.ramp/2 + s.decay
	switch {
	case x <= 0:
		return 0
	case x < s.ramp:
		return x * x / (2 * s.ramp) / area
	}
	return (s.ramp/2 - s.decay*math.Expm1((s.ramp-x)/s.decay)) / area
}

// rate is the share that goes in a day, at a time.
func (s shape) rate(at time.Time) float64 {
	x := at.Sub(s.onset).Hours()
	peak := 24 / (s.ramp/2 + s.decay)
	switch {
	case x <= 0:
		return 0
	case x < s.ramp:
		return peak * x / s.ramp
	}
	return peak * math.Exp((s.ramp-x)/s.decay)
}

// stillAfter is how many hours after a time the fall of so much extract has slowed to StillRate for good.
func (s shape) stillAfter(at time.Time, plato float64) float64 {
	x := at.Sub(s.onset).Hours()
	peak := 24 * plato / (s.ramp/2 + s.decay)
	if peak <= StillRate {
		return 0
	}
	return max(0, s.ramp+s.decay*math.Log(peak/StillRate)-x)
}

// StillRate is the fall, degP/day, at which gravity is called still: 0.0002 SG in two days and a half, which no
// hydrometer shows (common practice).
const StillRate = 0.02

// What a creep can be. Ramps and the onset's spread are common practice. The decays reach from a creep that is over in
// two days to the slowest published one: with 10 g/L of hops at 20 degC half of the alcohol that came in 40 days came in
// the first five, a time constant of 150 h (Kirkpatrick and Shellhammer, J. Agric. Food Chem. 66 (2018) 9121-9126; the
// figures from a summary of it). The same work has 2 degP of real extract in all, 2.4 degP apparent, the most that is
// known; the least is what no one would notice.
const (
	leastPlato = 0.1
	mostPlato  = 3.0
	platoSteps = 32
)

func ramps() [4]float64  { return [4]float64{8, 12, 18, 26} }
func decays() [6]float64 { return [6]float64{18, 30, 50, 80, 120, 180} }

// onsets are the shares of the way from the onset's low bound to its high one that are tried.
func onsets() [3]float64 { return [3]float64{0.1, 0.5, 0.9} }
