package stable

import (
	"fmt"
	"math"
	"time"
)

// Point is the mean of a probe over an hour or so.
type Point struct {
	At      time.Time
	Value   float64 // in any unit; limits and answers are in the same
	Celsius float64 // of the beer then; NaN: not known
}

// State is what a curve shows.
type State int

// The states.
const (
	Unknown  State = iota // too little, too old or too rough to tell
	Shown                 // the fall is bounded under the limit
	NotShown              // it is not
)

// Window is the time that a beer must have stood: two days (common practice: two or three).
const Window = 48 * time.Hour

// What a curve needs.
const (
	leastPoints = 12
	leastSpan   = 40 * time.Hour // of the window
	staleAfter  = 6 * time.Hour
)

// Verdict is what a curve shows of the window before a moment.
type Verdict struct {
	State   State
	Falling bool    // the fall is above zero with 95 % confidence
	Fall    float64 // over the window, positive downward
	Low     float64 // its two-sided 95 % interval
	High    float64
	Bound   float64 // its one-sided upper 95 % bound, which is held against the limit
	Worst   float64 // the same for a fall that is known to be none or more, as beer's is: never below zero
	Points  int
	Span    time.Duration // of the points
	Why     string        // of Unknown: what is missing
}

// Question is what a curve is asked.
type Question struct {
	At     time.Time     // the moment at the end of the window
	Since  time.Time     // what lies before plays no part, such as another beer; zero: all does
	Back   time.Duration // how much of the curve is looked at; 0: a window. The fall is given for a window all the same
	Hopped time.Time     // hops went in: floats step then and settle over a day or two; zero: none did
	Limit  float64       // of the fall over a window
}

// Judge holds a curve against a limit. The fall is given for a whole window even where Since cuts it short; the curve
// must still span most of one.
func Judge(curve []Point, q Question) Verdict {
	at := q.At
	from := at.Add(-max(q.Back, Window))
	if q.Since.After(from) {
		from = q.Since
	}
	points := between(curve, from, at)
	v := Verdict{Points: len(points)}
	if len(points) > 0 {
		v.Span = points[len(points)-1].At.Sub(points[0].At)
	}
	switch {
	case len(points) == 0:
		v.Why = "no gravity was heard in the last two days"
	case at.Sub(points[len(points)-1].At) > staleAfter:
		v.Why = fmt.Sprintf("the newest gravity is %.0f h old", at.Sub(points[len(points)-1].At).Hours())
	case len(points) < leastPoints:
		v.Why = fmt.Sprintf("so far gravity was read in %d of the %d hours needed", len(points), leastPoints)
	case v.Span < leastSpan:
		v.Why = fmt.Sprintf("gravity is followed for %.0f h so far, %.0f are needed", v.Span.Hours(), leastSpan.Hours())
	}
	if v.Why != "" {
		return v
	}
	return v.weigh(slopeOf(points, q.Hopped), q.Limit)
}

// weigh turns a slope into a verdict.
func (v Verdict) weigh(s slope, limit float64) Verdict {
	hours := Window.Hours()
	v.Fall = -s.perHour * hours
	deviation := s.deviation * hours
	one, two := student(0.95, s.free)*deviation, student(0.975, s.free)*deviation
	v.Low, v.High, v.Bound = v.Fall-two, v.Fall+two, v.Fall+one
	v.Worst = truncated(v.Fall, deviation)
	v.Falling = v.Fall-one > 0
	switch {
	case v.Bound <= limit:
		v.State = Shown
	case one <= limit || v.Falling:
		v.State = NotShown
	default:
		v.Why = "this probe is too rough to show it: its noise alone hides more than the limit"
	}
	return v
}

// truncated is the 95 % quantile of a normal of which it is known that it is above zero.
func truncated(mean, deviation float64) float64 {
	if deviation <= 0 {
		return max(mean, 0)
	}
	below := 0.5 * math.Erfc(mean/deviation/math.Sqrt2)
	if below > 1-1e-9 {
		return 0.3 * deviation // so far below that the arithmetic ends
	}
	share := below + 0.95*(1-below)
	return max(0, mean+deviation*math.Sqrt2*math.Erfinv(2*share-1))
}

// between are the points after one moment and up to another.
func between(curve []Point, from, to time.Time) []Point {
	var out []Point
	for _, p := range curve {
		if p.At.After(from) && !p.At.After(to) && !math.IsNaN(p.Value) {
			out = append(out, p)
		}
	}
	return out
}

// student is the quantile of Student's t for a one-sided probability of 0.95 or 0.975 (Fisher's expansion about the
// normal, Cornish and Fisher 1960; within 0.5 % from 8 degrees of freedom on).
func student(probability float64, free int) float64 {
	z := 1.6449
	if probability > 0.96 {
		z = 1.9600
	}
	n := float64(max(free, 1))
	z3, z5 := z*z*z, z*z*z*z*z
	return z + (z3+z)/(4*n) + (5*z5+16*z3+3*z)/(96*n*n)
}
