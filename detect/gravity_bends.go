package detect

import (
	"math"
	"time"
)

// curve is one float's points beside all that may bend them without yeast at
// work, whitened, with the inner products of all of it. What one float suffers
// is a choice of some of the columns. Gravities by hand stand behind the points:
// they share the beer, what hops give off and what ferments, and nothing else.
type curve struct {
	hour    []float64 // since the first point
	swims   int       // how many of them are the float's
	hands   []handGravity
	gain    []whitening
	columns [][]float64
	extract []float64 // degP over the first point's
	gram    [][]float64
	with    []float64 // the columns' products with the extract
	self    float64   // the extract's own
	nulls   []null
}

// null is one form of the null hypothesis: what bends the curve, how much of
// each is to be expected beforehand, and how likely that is beside the others.
type null struct {
	terms  []int     // of the curve's columns
	jumped bool      // one of them is a jump
	priors []float64 // standard deviations
	weight float64   // logarithm of its share beforehand
	fit    fit
	left   float64 // of the residual
	proof  float64 // logarithm of how well it explains the curve, its terms integrated out
}

// What the null allows, as standard deviations beforehand (floating probes,
// common practice), and the times at which it is looked for.
const (
	offsetPrior      = 10.0       // degP
	driftPrior       = 0.015 / 24 // degP/h: 0.0001 SG a day either way, as evenly as floats have it
	coefficientPrior = 0.04       // degP/K
	hopStepPrior     = 0.6        // degP, gone with the tail
	leachUsual       = 0.02       // degP that hops give off, and that stay (judgement) ...
	leachPrior       = 0.03       // ... give or take so much: they take nothing away for good
	leachHours       = 6.0        // in which they do
	secondPrior      = 0.4        // degP, of hops that settle twice: a raft that breaks, a float that frees itself
	secondShare      = 0.25       // of the floats that suffer it
	secondFirst      = 6.0        // h after the hops, the earliest that is tried
	secondLast       = 36.0
	secondEvery      = 12.0
	secondTail       = 16.0 // h
	jumpShare        = 0.2  // of the jumps that were seen and were one: noise that is brief makes most of those near the bound
	settlesShare     = 0.12 // of the floats that settle as they are first heard: spile came after the hops, or the float was just put in
	settlesPrior     = 0.4  // degP
	settlesOver      = 120 * time.Hour
)

// hopTails are the time constants tried for the settling of hops on a float, in hours.
func hopTails() [4]float64 { return [4]float64{7, 12, 19, 32} }

// steppedTails are those tried after a jump that nobody logged.
func steppedTails() [2]float64 { return [2]float64{10, 25} }

// bends builds and fits every form of the null hypothesis for the points of a float:
// always an offset, a slow drift and an uncorrected temperature coefficient;
// after hops what they give off for good and a step that relaxes, in some a
// second one; where the log has none, in some a step from before they were
// heard; after a jump that was seen what stays of it and what fades.
// Gravities by hand have an offset of their own.
func (f *float) bends(hands ...handGravity) *curve {
	base := f.Points[0]
	c := &curve{swims: len(f.Points), hour: make([]float64, 0, len(f.Points)+len(hands)), gain: f.whitenings(), hands: hands}
	for _, p := range f.Points {
		c.hour = append(c.hour, p.At.Sub(base.At).Hours())
	}
	for _, h := range hands {
		c.hour, c.gain = append(c.hour, h.At.Sub(base.At).Hours()-middle), append(c.gain, whitening{scale: 1 / handNoise})
	}
	c.extract = c.whitened(func(i int) float64 {
		if i >= c.swims {
			return hands[i-c.swims].Plato - base.Plato
		}
		return f.Points[i].Plato - base.Plato
	})
	always := null{
		terms: []int{
			c.add(func(int) float64 { return 1 }),
			c.add(func(i int) float64 { return c.hour[i] }),
			c.add(func(i int) float64 { return f.Points[i].Celsius - base.Celsius }),
		},
		priors: []float64{offsetPrior, driftPrior, coefficientPrior},
	}
	if len(hands) > 0 {
		always = always.and(c.addAll(c.byHand), offsetPrior)
	}
	c.nulls = []null{always}
	switch {
	case !f.Hopped.IsZero():
		if f.showsEarlier() {
			c.nulls = c.hopsBefore(always, f.Earlier.Sub(base.At).Hours()-middle)
		}
		c.nulls = c.hops(c.nulls, f.Hopped.Sub(base.At).Hours()-middle)
	case base.At.Sub(f.Began) < settlesOver:
		c.nulls = c.settles(always, min(f.Began.Sub(base.At).Hours(), 0)-middle)
	}
	if !f.Stepped.IsZero() {
		c.nulls = c.jump(c.nulls, f.Stepped.Sub(base.At).Hours()-middle)
	}
	c.multiply()
	solved := c.nulls[:0]
	for _, n := range c.nulls {
		if n.solve(c) {
			solved = append(solved, n)
		}
	}
	c.nulls = solved
	return c
}

// middle is how far a point's time lies before the middle of its hour.
const middle = 0.5

// hopsBefore are the forms that a null takes on after the first of two dry-hops.
func (c *curve) hopsBefore(always null, at float64) []null {
	once := always.and(c.leach(at), leachPrior)
	var out []null
	for _, tail := range hopTails() {
		out = append(out, once.and(c.add(func(i int) float64 { return c.relaxing(i, at, tail) }), hopStepPrior))
	}
	return out
}

// hops are the forms that nulls take on after a dry-hop.
func (c *curve) hops(nulls []null, at float64) []null {
	leach := c.leach(at)
	var seconds []int
	for after := secondFirst; after <= secondLast && at+after < c.newest(); after += secondEvery {
		seconds = append(seconds, c.add(func(i int) float64 { return c.relaxing(i, at+after, secondTail) }))
	}
	var out []null
	for _, tail := range hopTails() {
		step := c.add(func(i int) float64 { return c.relaxing(i, at, tail) })
		for _, n := range nulls {
			once := n.and(leach, leachPrior).and(step, hopStepPrior)
			out = append(out, once.sharing(1-secondShare))
			for _, second := range seconds {
				out = append(out, once.and(second, secondPrior).sharing(secondShare/float64(len(seconds))))
			}
		}
	}
	return out
}

// leach is what hops give off for good, more or less than they usually do: that much is taken from the extract beforehand.
func (c *curve) leach(at float64) int {
	place := c.addAll(func(i int) float64 { return 1 - c.relaxing(i, at, leachHours) - c.before(i, at) })
	for i, share := range c.columns[place] {
		c.extract[i] -= leachUsual * share
	}
	return place
}

// settles are the forms that a null takes on where a float may have settled as it was first heard.
func (c *curve) settles(always null, at float64) []null {
	out := []null{always.sharing(1 - settlesShare)}
	tails := hopTails()
	for _, tail := range tails {
		fades := c.add(func(i int) float64 { return c.relaxing(i, at, tail) })
		out = append(out, always.and(fades, settlesPrior).sharing(settlesShare/float64(len(tails))))
	}
	return out
}

// jump are the forms that nulls take on after what looked like a jump: a noisy float shows one by chance, too.
func (c *curve) jump(nulls []null, at float64) []null {
	stays := c.add(func(i int) float64 { return 1 - c.before(i, at) })
	var out []null
	for _, n := range nulls {
		out = append(out, n.sharing(1-jumpShare))
	}
	tails := steppedTails()
	for _, tail := range tails {
		fades := c.add(func(i int) float64 { return c.relaxing(i, at, tail) })
		for _, n := range nulls {
			jumped := n.and(stays, hopStepPrior).and(fades, hopStepPrior).sharing(jumpShare / float64(len(tails)))
			jumped.jumped = true
			out = append(out, jumped)
		}
	}
	return out
}

// relaxing is the share left at a point of a step at an hour; nothing before it.
func (c *curve) relaxing(i int, at, tail float64) float64 {
	since := c.hour[i] - at
	if since < 0 {
		return 0
	}
	return math.Exp(-since / tail)
}

// before is one at the points before an hour.
func (c *curve) before(i int, at float64) float64 {
	if c.hour[i] < at {
		return 1
	}
	return 0
}

// and is a null with one more term.
func (n null) and(term int, prior float64) null {
	n.terms = append(n.terms[:len(n.terms):len(n.terms)], term)
	n.priors = append(n.priors[:len(n.priors):len(n.priors)], prior)
	return n
}

// sharing is a null that stands for such a share of those like it.
func (n null) sharing(share float64) null {
	n.weight += math.Log(share)
	return n
}

// falling is extract that falls, by its inner products. One serves all onsets in turn: there are a hundred.
type falling struct {
	gone    []float64 // the fall itself, whitened, from its onset on
	columns []float64 // with each of the curve's
	self    float64
	extract float64
}

// along lets extract fall from a point on along a course of unit rate.
func (f *falling) along(c *curve, from int, course *hourly) {
	hours, gains, extract := c.hour[from:], c.gain[from:], c.extract[from:]
	f.gone, f.columns = f.gone[:0], f.columns[:0]
	var w whiten
	self, with := 0.0, 0.0
	for i, hour := range hours {
		gone := w.next(gains[i], -course.gone(hour-hours[0]))
		f.gone = append(f.gone, gone)
		self += gone * gone
		with += gone * extract[i]
	}
	f.self, f.extract = self, with
	columns := c.columns
	for ; len(columns) >= 2; columns = columns[2:] { // two at a time, none of which waits for the other
		one, other := inners(f.gone, columns[0][from:], columns[1][from:])
		f.columns = append(f.columns, one, other)
	}
	for _, column := range columns {
		f.columns = append(f.columns, inner(f.gone, column[from:]))
	}
}

// extend adds extract that falls to a fitted null: at which rate, of what weight, and by how much less is left.
func (n *null) extend(f *falling) (rate, weight, gain float64) {
	var withTerms [maxTerms]float64
	for i, term := range n.terms {
		withTerms[i] = f.columns[term]
	}
	return n.fit.extend(withTerms, f.self, f.extract)
}

// add whitens a column of what floats suffer and hands do not, and gives its place.
func (c *curve) add(column func(i int) float64) int {
	return c.addAll(func(i int) float64 {
		if i >= c.swims {
			return 0
		}
		return column(i)
	})
}

// addAll is the same for what happens to the beer.
func (c *curve) addAll(column func(i int) float64) int {
	c.columns = append(c.columns, c.whitened(column))
	return len(c.columns) - 1
}

// byHand is one at gravities by hand.
func (c *curve) byHand(i int) float64 {
	if i < c.swims {
		return 0
	}
	return 1
}

// newest is the hour of the float's newest point.
func (c *curve) newest() float64 { return c.hour[c.swims-1] }

// whitened is a column with its noise white.
func (c *curve) whitened(column func(i int) float64) []float64 {
	out := make([]float64, len(c.hour))
	var w whiten
	for i := range out {
		out[i] = w.next(c.gain[i], column(i))
	}
	return out
}

// multiply fills in the inner products.
func (c *curve) multiply() {
	c.gram, c.with = make([][]float64, len(c.columns)), make([]float64, len(c.columns))
	for j, a := range c.columns {
		c.gram[j] = make([]float64, j+1)
		for k := range j + 1 {
			c.gram[j][k] = inner(a, c.columns[k])
		}
		c.with[j] = inner(a, c.extract)
	}
	c.self = inner(c.extract, c.extract)
}

func inner(a, b []float64) float64 {
	sum := 0.0
	b = b[:len(a)]
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// inners are the inner products with two others.
func inners(a, b, c []float64) (withB, withC float64) {
	b, c = b[:len(a)], c[:len(a)]
	for i, x := range a {
		withB += x * b[i]
		withC += x * c[i]
	}
	return withB, withC
}

// solve fits a null and tells whether it could.
func (n *null) solve(c *curve) bool {
	n.fit = newFit(ridges(n.priors...))
	for i, a := range n.terms {
		for j, b := range n.terms[:i+1] {
			n.fit.gram[i][j] += c.gram[max(a, b)][min(a, b)]
		}
		n.fit.xy[i] = c.with[a]
	}
	n.fit.yy = c.self
	if !n.fit.solve() {
		return false
	}
	n.left = n.fit.residual()
	return true
}

// prove weighs a null by its marginal likelihood (Bishop, "Pattern Recognition
// and Machine Learning", Springer 2006, section 3.5), the noise being so many
// times what was thought.
func (n *null) prove(variance float64) {
	n.proof = n.weight - n.left/(2*variance)
	for i, prior := range n.priors {
		n.proof -= math.Log(n.fit.chol[i][i] * prior)
	}
}
