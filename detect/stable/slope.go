package stable

import (
	"math"
	"time"
)

// slope is a straight line's, with its standard error.
type slope struct {
	perHour   float64
	deviation float64
	free      int // degrees of freedom
}

// What a float's noise and its temperature can do, beforehand.
const (
	warmthPrior = 0.16  // points of gravity for each K that nobody corrected (common practice, floats)
	warmthLeast = 1.0   // K within the window, below which temperature is left out
	settlePrior = 2.4   // points that hops lift or sink a float by (common practice)
	settleGone  = 0.02  // of it left at the window's start, below which it is left out
	point       = 0.001 // SG; a curve in degP is told by its size, see unitOf
)

// slopeOf fits a line through points by generalised least squares. The noise of an hour is white noise plus noise that
// runs on (first-order autoregression); how much of it runs on, and for how long, is not known, so each of a grid of
// answers is weighed by its restricted likelihood and the fits are averaged (Patterson and Thompson, "Recovery of
// inter-block information when block sizes are unequal", Biometrika 58 (1971) 545-554, for the likelihood; Hoeting and
// others, "Bayesian model averaging: a tutorial", Statistical Science 14 (1999) 382-417, for the averaging).
func slopeOf(points []Point, hopped time.Time) slope {
	var trials []trial
	best := math.Inf(-1)
	for _, d := range designs(points, hopped) {
		for _, share := range []float64{0, 0.15, 0.35, 0.6, 0.85, 1} {
			for _, memory := range []float64{2, 5, 12} {
				if t := d.fit(points, share, memory); t.ok {
					trials, best = append(trials, t), max(best, t.likelihood)
				}
				if share == 0 {
					break // nothing runs on
				}
			}
		}
	}
	var weight, mean, square float64
	for _, t := range trials {
		w := math.Exp(t.likelihood - best)
		weight += w
		mean += w * t.slope
		square += w * (t.variance + t.slope*t.slope)
	}
	if weight == 0 {
		return slope{deviation: math.Inf(1), free: 1}
	}
	mean /= weight
	return slope{perHour: mean, deviation: math.Sqrt(max(0, square/weight-mean*mean)), free: len(points) - 3}
}

// trial is the line under one supposition of how the noise runs on.
type trial struct {
	slope, variance float64
	likelihood      float64 // logarithm, but for a constant
	ok              bool
}

// design is what a fit holds beside a level and a slope, each with its prior deviation.
type design struct {
	reference float64 // degC
	warm      bool    // a coefficient of temperature
	hopped    time.Time
	tail      float64 // hours in which a float settles after the hops; 0: no such step
	unit      float64 // one point of gravity in the curve's unit
}

// designs are the fits to be tried: floats settle in hours or in a day and more, and nobody knows which.
func designs(points []Point, hopped time.Time) []design {
	d := design{hopped: hopped, unit: unitOf(points)}
	d.reference, d.warm = warmth(points)
	if hopped.IsZero() {
		return []design{d}
	}
	var out []design
	for _, tail := range []float64{9, 20} {
		if math.Exp(-points[0].At.Sub(hopped).Hours()/tail) > settleGone {
			d.tail = tail
			out = append(out, d)
		}
	}
	if len(out) == 0 {
		out = append(out, d)
	}
	return out
}

// row gives the regressors of a point.
func (d design) row(p, first Point) [terms]float64 {
	x := [terms]float64{1, p.At.Sub(first.At).Hours()}
	if d.warm {
		x[2] = p.Celsius - d.reference
	}
	if d.tail > 0 && p.At.After(d.hopped) {
		x[3] = math.Exp(-p.At.Sub(d.hopped).Hours() / d.tail)
	}
	return x
}

// fit whitens the points by the innovations of the noise's Kalman filter (Kalman, J. Basic Eng. 82 (1960) 35-45).
func (d design) fit(points []Point, share, memory float64) trial {
	var n normal
	var columns [terms]filter
	var value filter
	left, logs := share, 0.0
	for i, p := range points {
		keep := 1.0
		if i > 0 {
			keep = math.Exp(-p.At.Sub(points[i-1].At).Hours() / memory)
			left = keep*keep*left + share*(1-keep*keep)
		}
		total := left + 1 - share
		if total < 1e-9 {
			continue // noise that only runs on leaves nothing new between two points of one moment
		}
		gain, scale := left/total, 1/math.Sqrt(total)
		logs += math.Log(total)
		x := d.row(p, points[0])
		for k := range x {
			x[k] = columns[k].next(keep, gain, x[k]) * scale
		}
		n.add(x, value.next(keep, gain, p.Value-points[0].Value)*scale)
		left *= 1 - gain
	}
	var priors [terms]float64
	if d.warm {
		priors[2] = warmthPrior * d.unit
	}
	if d.tail > 0 {
		priors[3] = settlePrior * d.unit
	}
	return n.solve(priors, logs)
}

// unitOf is the size of one point of gravity in the unit of the curve: SG stays below 1.2, degP of a beer above.
func unitOf(points []Point) float64 {
	for _, p := range points {
		if p.Value < 0.9 || p.Value > 1.2 {
			return point * platoPerSG
		}
	}
	return point
}

// platoPerSG is about what 1 SG is worth in degP near the end of fermentation; it only sizes a prior.
const platoPerSG = 254

// warmth is the first temperature, and whether all are known and differ enough to matter.
func warmth(points []Point) (reference float64, moved bool) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		if math.IsNaN(p.Celsius) {
			return 0, false
		}
		low, high = min(low, p.Celsius), max(high, p.Celsius)
	}
	return points[0].Celsius, high-low > warmthLeast
}

// filter gives the innovations of one column.
type filter struct{ level float64 }

func (f *filter) next(keep, gain, value float64) float64 {
	f.level *= keep
	surprise := value - f.level
	f.level += gain * surprise
	return surprise
}
