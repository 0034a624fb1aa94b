package creep

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Outlook is where a creep leads, as 95 % intervals around the median.
type Outlook struct {
	All   Interval // degP, from the onset to the end
	Left  Interval // degP that are yet to go
	Still Interval // h from now until the fall has slowed to StillRate
	Short bool     // little of the curve was seen, and the bounds are what creeps can be rather than what this one is
}

// shortSpread is how many times its value an interval may be wide before the curve is called too short to tell.
const shortSpread = 2.0

// noWeight is the weight, beside the likeliest way's, from which one is left out.
const noWeight = 1e-5

// way is one way to go on, with its weight.
type way struct {
	all, left, still, weight float64
}

// curveSpeaks is the length from which on a curve speaks alone. The rate is read off the same readings: counted beside a long
// curve it is counted twice, and bends what the curve says. In 281 creeps of trial's classes, on a seed that had no part in the
// choice, what was left lay within its interval two, three and four days after the first word of it in 92, 86 and 78 % with the
// rate all along, and lies there in 97, 94 and 90 %.
const curveSpeaks = 30 * time.Hour

// Look weighs every shape and size that a creep can have against what was seen: all are taken as equally likely
// beforehand, sizes by their logarithm. False: there is nothing to go by, no rate above zero or no onset before now.
func (c Course) Look() (Outlook, bool) {
	if !(c.Rate.Value > 0 && c.Rate.High > c.Rate.Low) || !c.OnsetLow.Before(c.Now) {
		return Outlook{}, false
	}
	ways := c.ways()
	if len(ways) == 0 {
		return Outlook{}, false
	}
	o := Outlook{
		All:   spread(ways, func(w way) float64 { return w.all }),
		Left:  spread(ways, func(w way) float64 { return w.left }),
		Still: spread(ways, func(w way) float64 { return w.still }),
	}
	o.Short = o.Left.High-o.Left.Low > shortSpread*max(o.Left.Value, leastPlato/2)
	return o, true
}

// ways lists what can follow, weighed.
func (c Course) ways() []way {
	var out []way
	best := math.Inf(-1)
	span := c.OnsetHigh.Sub(c.OnsetLow)
	for _, share := range onsets() {
		s := shape{onset: c.OnsetLow.Add(time.Duration(share * float64(span)))}
		for _, s.ramp = range ramps() {
			for _, s.decay = range decays() {
				for _, w := range c.sizes(s) {
					best = max(best, w.weight)
					out = append(out, w)
				}
			}
		}
	}
	for i := range out {
		out[i].weight = math.Exp(out[i].weight - best)
	}
	return slices.DeleteFunc(out, func(w way) bool { return w.weight < noWeight })
}

// sizes weighs every size of one shape; the weights are logarithms yet.
func (c Course) sizes(s shape) []way {
	rate, gone := s.rate(c.Now), s.gone(c.Now)
	if rate <= 0 {
		return nil
	}
	curve, long := c.against(s), c.long()
	out := make([]way, 0, platoSteps)
	for i := range platoSteps {
		plato := leastPlato * math.Pow(mostPlato/leastPlato, float64(i)/(platoSteps-1))
		w := way{all: plato, left: plato * (1 - gone), still: s.stillAfter(c.Now, plato), weight: curve.likelihood(plato)}
		if !long {
			w.weight += c.Rate.likelihood(plato * rate)
		}
		out = append(out, w)
	}
	return out
}

// long tells whether the curve says enough without the rate.
func (c Course) long() bool {
	n := len(c.Curve)
	return n > 0 && c.Curve[n-1].At.Sub(c.Curve[0].At) > curveSpeaks
}

// likelihood is the logarithm of how well a rate agrees, the interval taken as log-normal around its value.
func (i Interval) likelihood(rate float64) float64 {
	low, high := max(i.Low, i.Value/10), max(i.High, i.Value*1.05)
	sigma := math.Log(high/i.Value) / 1.96
	if rate < i.Value {
		sigma = math.Log(i.Value/min(low, i.Value/1.05)) / 1.96
	}
	z := math.Log(rate/i.Value) / sigma
	return -z * z / 2
}

// agreement is how the curve bears on the size of one shape: the sums of a straight line through points that share an
// unknown zero.
type agreement struct{ gg, gy, yy float64 }

// against holds the curve against a shape.
func (c Course) against(s shape) agreement {
	var n, g, y, gg, gy, yy float64
	for _, p := range c.Curve {
		w, x := 1/(p.Sigma*p.Sigma), s.gone(p.At)
		n, g, y = n+w, g+w*x, y+w*p.Gone
		gg, gy, yy = gg+w*x*x, gy+w*x*p.Gone, yy+w*p.Gone*p.Gone
	}
	if n == 0 {
		return agreement{}
	}
	return agreement{gg: gg - g*g/n, gy: gy - g*y/n, yy: yy - y*y/n}
}

// likelihood is the logarithm of how well the curve agrees with a size.
func (a agreement) likelihood(plato float64) float64 {
	return -(a.yy - 2*plato*a.gy + plato*plato*a.gg) / 2
}

// spread is the weighted median of a figure with the bounds that hold 95 % of the weight.
func spread(ways []way, of func(way) float64) Interval {
	sorted, total := make([]weighed, len(ways)), 0.0
	for i, w := range ways {
		sorted[i] = weighed{of(w), w.weight}
		total += w.weight
	}
	slices.SortFunc(sorted, func(a, b weighed) int { return cmp.Compare(a.figure, b.figure) })
	at := func(share float64) float64 {
		sum := 0.0
		for _, w := range sorted {
			if sum += w.weight; sum >= share*total {
				return w.figure
			}
		}
		return sorted[len(sorted)-1].figure
	}
	return Interval{Value: at(0.5), Low: at(0.025), High: at(0.975)}
}

// weighed is a figure with its weight.
type weighed struct{ figure, weight float64 }
