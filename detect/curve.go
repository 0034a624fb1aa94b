package detect

import (
	"math"
	"time"
)

// curve is one float's points with the null hypothesis fitted for one settling
// time of the hops, all of it whitened.
type curve struct {
	x    [][maxTerms]float64 // whitened regressors
	y    []float64           // whitened extract
	hour []float64           // since the first point
	gain []whitening
	null fit
}

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

// curve builds the whitened regression of the null hypothesis: offset, drift,
// temperature, a step at the hops that relaxes with the given tail, and a step
// that was seen and that may relax or stay.
func (f *float) curve(tail float64, gains []whitening) *curve {
	n := len(f.Points)
	c := &curve{x: make([][maxTerms]float64, n), y: make([]float64, n), hour: make([]float64, n), gain: gains}
	priors := []float64{offsetPrior, driftPrior, coefficientPrior}
	if !f.Hopped.IsZero() {
		priors = append(priors, hopStepPrior)
	}
	if !f.Stepped.IsZero() {
		priors = append(priors, hopStepPrior, hopStepPrior)
	}
	c.null = newFit(ridges(priors...))
	base := f.Points[0]
	var columns [maxTerms]whiten
	var target whiten
	for i, p := range f.Points {
		c.hour[i] = p.At.Sub(base.At).Hours()
		row := [maxTerms]float64{1, c.hour[i], p.Celsius - base.Celsius}
		k := 3
		if !f.Hopped.IsZero() {
			row[k] = relaxing(p.At.Sub(f.Hopped).Hours(), tail)
			k++
		}
		if !f.Stepped.IsZero() {
			since := p.At.Sub(f.Stepped).Hours()
			row[k], row[k+1] = relaxing(since, tail), 0
			if since >= 0 {
				row[k+1] = 1
			}
		}
		for j := range c.null.n {
			c.x[i][j] = columns[j].next(gains[i], row[j])
		}
		c.y[i] = target.next(gains[i], p.Plato-base.Plato)
		c.null.add(&c.x[i], c.y[i])
	}
	return c
}

// relaxing is the share left of a step after so many hours; nothing before it.
func relaxing(hours, tail float64) float64 {
	if hours < 0 {
		return 0
	}
	return math.Exp(-hours / tail)
}

// trial is the alternative tried from one onset.
type trial struct {
	curve  *curve
	onset  int
	rate   float64 // degP/h fallen once the ramp is over
	course func(hours float64) float64
	gain   float64
}

// try adds extract falling along a course from the given point on to the fitted
// null; the rate has a prior standard deviation (ratePrior).
func (c *curve) try(onset int, course func(hours float64) float64) trial {
	var withTerms [maxTerms]float64
	var withSelf, withY float64
	var column whiten
	for i := onset; i < len(c.y); i++ {
		falling := column.next(c.gain[i], -course(c.hour[i]-c.hour[onset]))
		for j, value := range c.x[i][:c.null.n] {
			withTerms[j] += value * falling
		}
		withSelf += falling * falling
		withY += falling * c.y[i]
	}
	rate, _, gain := c.null.extend(withTerms, withSelf+1/(ratePrior*ratePrior), withY)
	return trial{curve: c, onset: onset, rate: rate, course: course, gain: gain}
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

// spent is the extract gone after so many hours of a rate that ramps up to one
// and then dies away, as what yeast can still eat runs out.
func spent(hours float64) float64 {
	if hours < rampHours {
		return fermented(hours)
	}
	return rampHours/2 + spentHours*(1-math.Exp((rampHours-hours)/spentHours))
}

// ramped is the share of the final rate reached after so many hours.
func ramped(hours float64) float64 { return min(max(hours/rampHours, 0), 1) }

// fall turns the best trial into what a brewer is told.
func (b trial) fall(began time.Time) fall {
	hour := b.curve.hour
	return fallen(began, b.rate, hour[len(hour)-1]-hour[b.onset], b.course)
}

// fallen is what has gone after so many hours along a course, at a rate in
// degP/h once the ramp is over.
func fallen(began time.Time, rate, hours float64, course func(hours float64) float64) fall {
	return fall{Onset: began, Rate: rate, Depth: rate * course(hours), Now: rate * ramped(hours)}
}

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
