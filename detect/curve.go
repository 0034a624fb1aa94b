package detect

import (
	"math"
	"time"
)

// curve is one float's points, whitened, with the null hypothesis fitted for
// one settling time of the hops.
type curve struct {
	float *float
	raw   [][maxTerms]float64 // regressors
	x     [][maxTerms]float64 // whitened regressors
	y     []float64           // whitened extract
	hour  []float64           // since the first point
	null  fit
}

// curve builds the whitened regression of the null hypothesis: offset, drift,
// temperature and, if hops went in, a step relaxing with the given tail.
func (f *float) curve(hopped time.Time, tail float64) *curve {
	n := len(f.Points)
	c := &curve{
		float: f, raw: make([][maxTerms]float64, n), x: make([][maxTerms]float64, n),
		y: make([]float64, n), hour: make([]float64, n),
	}
	square := f.Noise * f.Noise
	ridge := []float64{1e-9, square / (driftPrior * driftPrior), square / (coefficientPrior * coefficientPrior)}
	if !hopped.IsZero() {
		ridge = append(ridge, square/(hopStepPrior*hopStepPrior))
	}
	c.null = newFit(ridge)
	base := f.Points[0]
	for i, p := range f.Points {
		c.hour[i] = p.At.Sub(base.At).Hours()
		c.raw[i] = [maxTerms]float64{1, c.hour[i], p.Celsius - base.Celsius}
		if !hopped.IsZero() {
			c.raw[i][3] = math.Exp(-max(p.At.Sub(hopped).Hours(), 0) / tail)
		}
		c.y[i] = p.Plato - base.Plato
	}
	c.whiten()
	for i := range c.x {
		c.null.add(&c.x[i], c.y[i])
	}
	return c
}

// whiten takes from each point what the one before foretells of its noise.
func (c *curve) whiten() {
	run := c.float.Run
	copy(c.x, c.raw)
	for i := len(c.y) - 1; i > 0; i-- {
		if c.hour[i]-c.hour[i-1] > 1.5 {
			continue
		}
		c.y[i] -= run * c.y[i-1]
		for j := range c.x[i] {
			c.x[i][j] -= run * c.x[i-1][j]
		}
	}
}

// trial is the alternative tried from one onset.
type trial struct {
	curve  *curve
	onset  int
	rate   float64           // degP/h fallen once the ramp is over
	shift  [maxTerms]float64 // what each term of the null gives up per unit of rate
	weight float64
	gain   float64
}

// try adds extract falling from the given point on to the fitted null.
func (c *curve) try(onset int) trial {
	var withTerms [maxTerms]float64
	var withSelf, withY, before float64
	for i := onset; i < len(c.y); i++ {
		now := -fermented(c.hour[i] - c.hour[onset])
		whitened := now
		if i > onset && c.hour[i]-c.hour[i-1] <= 1.5 {
			whitened -= c.float.Run * before
		}
		before = now
		for j := range c.null.n {
			withTerms[j] += c.x[i][j] * whitened
		}
		withSelf += whitened * whitened
		withY += whitened * c.y[i]
	}
	prior := c.float.Noise / ratePrior
	rate, weight, gain := c.null.extend(withTerms, withSelf+prior*prior, withY)
	return trial{onset: onset, rate: rate, weight: weight, gain: gain, shift: c.null.inverse(withTerms)}
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

// ramped is the share of the final rate reached after so many hours.
func ramped(hours float64) float64 { return min(max(hours/rampHours, 0), 1) }

// fall turns the best trial into what a brewer is told.
func (b trial) fall(f *float, variance float64) fall {
	c := b.curve
	newest := c.hour[len(c.hour)-1] - c.hour[b.onset]
	return fall{
		Onset: f.Points[b.onset].At,
		Rate:  b.rate,
		Error: math.Sqrt(variance / b.weight),
		Depth: b.rate * fermented(newest),
		Now:   b.rate * ramped(newest),
	}
}

// correlation is that of neighbouring residuals, unwhitened, under the alternative.
func (b trial) correlation(f *float) float64 {
	c := b.curve
	var before, cross, square float64
	for i, p := range f.Points {
		left := p.Plato - f.Points[0].Plato + b.rate*fermented(c.hour[i]-c.hour[b.onset])
		for j := range c.null.n {
			left -= (c.null.beta[j] - b.rate*b.shift[j]) * c.raw[i][j]
		}
		cross += left * before
		square += left * left
		before = left
	}
	if square == 0 {
		return 0
	}
	return cross / square
}

// recent is the fall of the newest hours in degP/h, positive downward, and its
// 95 % upper bound by least squares.
func (f *float) recent(span int) (slope, bound float64, ok bool) {
	if len(f.Points) < span {
		return 0, 0, false
	}
	points := f.Points[len(f.Points)-span:]
	line := newFit([]float64{1e-9, 1e-9})
	for _, p := range points {
		line.add(&[maxTerms]float64{1, p.At.Sub(points[0].At).Hours()}, p.Plato-points[0].Plato)
	}
	if !line.solve() {
		return 0, 0, false
	}
	variance := max(line.residual()/float64(span-2), noiseFloor*noiseFloor)
	// Noise that runs on makes the slope's error larger by about this factor.
	variance *= (1 + f.Run) / (1 - f.Run)
	spread := math.Sqrt(variance * line.inverse([maxTerms]float64{0, 1})[1])
	return -line.beta[1], -line.beta[1] + 1.645*spread, true
}
