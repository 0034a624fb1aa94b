package cellarsim

import (
	"math"
	"time"
)

// course is something that changes the extract along a curve, from a moment on.
type course struct {
	curve  curve
	start  time.Duration
	eaten  float64 // degP, so far
	co2    float64 // g/L that each degP eaten makes; 0 for extract that comes and goes without yeast
	atRest bool    // nothing more will be eaten
}

// curve is a drop of extract in time: the drop so far and its rate, x hours after its start. The drop of a curve that
// adds extract is negative.
type curve interface {
	drop(hours float64) float64 // degP
	rate(hours float64) float64 // degP per hour
	whole() float64             // degP in the end
}

// restShare is the share of a curve's drop that is taken for its end.
const restShare = 1e-9

// advance moves the course to a moment and returns what was eaten since the last, degP.
func (c *course) advance(at time.Duration) float64 {
	drop := c.curve.drop((at - c.start).Hours())
	eaten := drop - c.eaten
	c.eaten = drop
	c.atRest = math.Abs(c.curve.whole()-drop) < restShare*math.Abs(c.curve.whole())
	return eaten
}

// creepCurve rises to its peak rate over the ramp in a straight line, then dies away exponentially.
type creepCurve struct{ total, ramp, decay float64 } // degP, h, h

func (c creepCurve) peak() float64  { return c.total / (c.ramp/2 + c.decay) }
func (c creepCurve) whole() float64 { return c.total }

func (c creepCurve) drop(x float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x < c.ramp:
		return c.peak() * x * x / (2 * c.ramp)
	}
	return c.peak() * (c.ramp/2 + c.decay*(1-math.Exp((c.ramp-x)/c.decay)))
}

func (c creepCurve) rate(x float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x < c.ramp:
		return c.peak() * x / c.ramp
	}
	return c.peak() * math.Exp((c.ramp-x)/c.decay)
}

// primaryCurve is a logistic fall, steepest at half, that begins at zero.
type primaryCurve struct{ total, half, spread float64 } // degP, h, h

func (c primaryCurve) share(x float64) float64 { return 1 / (1 + math.Exp((c.half-x)/c.spread)) }
func (c primaryCurve) whole() float64          { return c.total }

func (c primaryCurve) drop(x float64) float64 {
	if x <= 0 {
		return 0
	}
	before := c.share(0)
	return c.total * (c.share(x) - before) / (1 - before)
}

func (c primaryCurve) rate(x float64) float64 {
	if x <= 0 {
		return 0
	}
	s := c.share(x)
	return c.total * s * (1 - s) / (c.spread * (1 - c.share(0)))
}

// leachCurve is extract that hops give off: it comes exponentially and makes no CO2.
type leachCurve struct{ total, lag float64 } // degP, h

func (c leachCurve) whole() float64 { return -c.total }

func (c leachCurve) drop(x float64) float64 {
	return -c.total * (1 - math.Exp(-max(0, x)/c.lag))
}

func (c leachCurve) rate(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return -c.total / c.lag * math.Exp(-x/c.lag)
}
