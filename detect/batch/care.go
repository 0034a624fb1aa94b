package batch

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"spile/detect"
	"spile/detect/stable"
)

// ProbeCare is how a float does beside gravities read by hand.
type ProbeCare struct {
	Probe       string           `json:"probe"`
	Pairs       int              `json:"pairs"`
	Offset      detect.Interval  `json:"offset_gravity"`                  // SG by which the hand reads above the float
	DriftPerDay *detect.Interval `json:"drift_gravity_per_day,omitempty"` // of that; nil: too few or too close
	Says        string           `json:"says"`
}

// What makes a pair, and what three or more of them need for a drift.
const (
	pairWithin = 90 * time.Minute
	driftPairs = 3
	driftSpan  = 48 * time.Hour
)

// pair is a gravity by hand beside what a float said then.
type pair struct {
	at         time.Time
	difference float64 // hand less float, SG
}

// care holds the floats against the hand gravities of this batch. A hand reading counts for the float it names, or for
// each float where it names none.
func (s *story) care() []ProbeCare {
	out := []ProbeCare{}
	curves := s.gravities(s.held(), s.at)
	for _, probe := range slices.Sorted(maps.Keys(curves)) {
		var pairs []pair
		for _, e := range s.here() {
			named := e.Word("probe")
			value, given := e.Amount("value")
			if e.Name != "gravity" || !given || named != "" && named != probe {
				continue
			}
			if float, ok := beside(curves[probe], e.Time); ok {
				pairs = append(pairs, pair{e.Time, value - float})
			}
		}
		if len(pairs) > 0 {
			out = append(out, weighed(probe, pairs))
		}
	}
	return out
}

// beside is what a float said about a moment.
func beside(curve []stable.Point, at time.Time) (float64, bool) {
	var sum float64
	n := 0
	for _, p := range curve {
		if p.At.Sub(at).Abs() <= pairWithin {
			sum, n = sum+p.Value, n+1
		}
	}
	return sum / float64(max(n, 1)), n > 0
}

// weighed makes offset and drift of the pairs, by least squares.
func weighed(probe string, pairs []pair) ProbeCare {
	n := float64(len(pairs))
	var mean, day float64
	for _, p := range pairs {
		mean += p.difference / n
		day += p.at.Sub(pairs[0].at).Hours() / 24 / n
	}
	var spread, tt, td float64
	for _, p := range pairs {
		x := p.at.Sub(pairs[0].at).Hours()/24 - day
		spread += (p.difference - mean) * (p.difference - mean)
		tt += x * x
		td += x * (p.difference - mean)
	}
	noise := handNoise
	if n > 1 {
		noise = max(noise, math.Sqrt(spread/(n-1)))
	}
	c := ProbeCare{Probe: probe, Pairs: len(pairs), Offset: interval(mean, noise/math.Sqrt(n))}
	c.Says = fmt.Sprintf("%s reads %s by %s (%s)", probe, signed(-mean, "high", "low"), points(scaled(c.Offset, mean)), counted(len(pairs)))
	if span := pairs[len(pairs)-1].at.Sub(pairs[0].at); len(pairs) >= driftPairs && span >= driftSpan {
		left := max(0, spread-td*td/tt)
		noise = max(handNoise, math.Sqrt(left/(n-2)))
		drift := interval(td/tt, noise/math.Sqrt(tt))
		c.DriftPerDay = &drift
		if drift.Low > 0 || drift.High < 0 {
			c.Says += fmt.Sprintf(", and drifts by %.2f points a day", -drift.Value/point)
		}
	}
	if c.Offset.Low > 0 || c.Offset.High < 0 {
		c.Says += fmt.Sprintf(": add %.4f to its offset.gravity in the config", mean)
	} else {
		c.Says += ": no more than hand and float err"
	}
	return c
}

// interval is a value with its 95 % bounds.
func interval(value, deviation float64) detect.Interval {
	return detect.Interval{Value: value, Low: value - 1.96*deviation, High: value + 1.96*deviation}
}

// scaled is an offset in points, turned so that it is positive.
func scaled(in detect.Interval, sign float64) detect.Interval {
	if sign < 0 {
		return detect.Interval{Value: -in.Value / point, Low: -in.High / point, High: -in.Low / point}
	}
	return detect.Interval{Value: in.Value / point, Low: in.Low / point, High: in.High / point}
}

func signed(value float64, positive, negative string) string {
	if value >= 0 {
		return positive
	}
	return negative
}

func counted(n int) string {
	if n == 1 {
		return "one gravity by hand"
	}
	return fmt.Sprintf("%d gravities by hand", n)
}
