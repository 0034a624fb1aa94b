package detect

import "math"

// whitening is what one point's noise owes to the points before it. The noise
// of an hourly mean is white noise of its readings plus a first-order
// autoregression; the innovations of its Kalman filter are white (Kalman, "A
// new approach to linear filtering and prediction problems", J. Basic Eng. 82
// (1960) 35-45).
type whitening struct {
	keep  float64 // of the noise before that is left by now
	share float64 // of a surprise that is taken for lasting noise: the filter's gain
	scale float64 // one over the surprise's standard deviation
}

// whiten gives the innovations of a column, one at a time.
type whiten struct{ level float64 }

func (w *whiten) next(g whitening, value float64) float64 {
	w.level *= g.keep
	surprise := value - w.level
	w.level += g.share * surprise
	return surprise * g.scale
}

// What runs on in a float's noise from hour to hour: bubbles, foam, hop matter
// that comes and goes (common practice; the size learns from the probe).
const lastingHours = 4.0 // its correlation time

// whitenings are the filter's gains for the points of a float.
func (f *float) whitenings() []whitening {
	out := make([]whitening, len(f.Points))
	lasting := f.Noise * f.Noise
	left := lasting
	for i, p := range f.Points {
		keep := 1.0
		if i > 0 {
			keep = math.Exp(-p.At.Sub(f.Points[i-1].At).Hours() / lastingHours)
			left = keep*keep*left + lasting*(1-keep*keep)
		}
		total := left + f.white(p.N)
		share := left / total
		out[i] = whitening{keep: keep, share: share, scale: 1 / math.Sqrt(total)}
		left *= 1 - share
	}
	return out
}

// white is the variance of the white noise in a mean of n readings.
func (f *float) white(n int) float64 {
	return f.White*f.White/float64(max(n, 1)) + noiseFloor*noiseFloor
}

// fermented is the extract gone after so many hours of a rate that ramps up to
// one: half the square while the ramp lasts, then in proportion.
func fermented(hours float64) float64 {
	switch {
	case hours <= 0:
		return 0
	case hours < rampHours:
		return hours * hours / (2 * rampHours)
	}
	return hours - rampHours/2
}

// floatCourse is how creep is held to run on a float's curve: a rate that ramps up in a straight line and then dies away,
// as what yeast can still eat runs out.
type floatCourse struct{ ramp, spent float64 } // h

// usualCourse is the one by which creep is looked for.
func usualCourse() floatCourse { return floatCourse{ramp: rampHours, spent: 60} }

// floatCourses are those between which it may run; what is told of it heeds them all.
func floatCourses() []floatCourse { return []floatCourse{{10, 35}, {24, 35}, {10, 90}, {24, 90}} }

// gone is the extract gone after so many hours, for each degP/h that the rate comes to when the ramp is over.
func (c floatCourse) gone(hours float64) float64 {
	switch {
	case hours <= 0:
		return 0
	case hours < c.ramp:
		return hours * hours / (2 * c.ramp)
	}
	return c.ramp/2 + c.spent*(1-math.Exp((c.ramp-hours)/c.spent))
}

// hourly is a course that reckons each whole hour once: a float's points lie so far apart, whatever the onset.
func hourly(course func(hours float64) float64) func(hours float64) float64 {
	var known []float64
	return func(hours float64) float64 {
		whole := int(hours)
		if hours != float64(whole) || whole < 0 || whole > floatWindow {
			return course(hours)
		}
		for len(known) <= whole {
			known = append(known, course(float64(len(known))))
		}
		return known[whole]
	}
}

// pace is the share of that rate after so many hours.
func (c floatCourse) pace(hours float64) float64 {
	if hours < c.ramp {
		return max(hours, 0) / c.ramp
	}
	return math.Exp((c.ramp - hours) / c.spent)
}

// ramped is the share of the final rate reached after so many hours.
func ramped(hours float64) float64 { return min(max(hours/rampHours, 0), 1) }

// recent is the fall of the newest hours in degP/h, positive downward, and its
// standard error, by least squares that heed how the noise runs on.
func (f *float) recent(span int) (slope, deviation float64, ok bool) {
	if len(f.Points) < span {
		return 0, 0, false
	}
	newest := float{Points: f.Points[len(f.Points)-span:], White: f.White, Noise: f.Noise}
	line := newFit([]float64{1e-9, 1e-9})
	var one, hours, target whiten
	for i, g := range newest.whitenings() {
		p, base := newest.Points[i], newest.Points[0]
		line.add(&[maxTerms]float64{one.next(g, 1), hours.next(g, p.At.Sub(base.At).Hours())}, target.next(g, p.Plato-base.Plato))
	}
	if !line.solve() {
		return 0, 0, false
	}
	variance := max(1, line.residual()/float64(span-2))
	return -line.beta[1], math.Sqrt(variance * line.inverse([maxTerms]float64{0, 1})[1]), true
}
