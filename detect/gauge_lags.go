package detect

import (
	"math"
	"time"
)

// How many regressors there are.
const (
	sharedTerms = 8                        // of the null, whatever the lag
	relaxTerms  = 7                        // one for each of relaxLags
	liftsFrom   = sharedTerms + relaxTerms // the same once more, of what a relief valve let go of
	headTerms   = liftsFrom + relaxTerms
)

// faded is the share of a step that counts as nothing: 50 kPa are then 0.005 Pa.
const faded = 1e-7

// relaxLags are the lags, in hours, with which head pressure comes to rest with the beer.
// The exchange lag of the beer is longer by 1 + H/(g h), H the solubility, g the
// density of CO2 gas per kPa, h the head space per litre: head space holds so
// little CO2 beside the beer that the 40 h of a still, cold tank are 2 h over a
// head space of 5 %, and 8 h over one of 25 %.
func relaxLags() [relaxTerms]float64 { return [relaxTerms]float64{9, 5, 4, 2, 0.8, 0.3, 0.08} }

// slowestExchange is more than the exchange lag of the stillest beer, h: nobody measures a head space.
const slowestExchange = 1.6 * 40

// relaxLagsOver are those over a head space that was told, L per L of beer: all are quicker over a small one, so that a
// climb of many hours cannot be gas that comes to rest.
func relaxLagsOver(celsius, headspaceShare float64) [relaxTerms]float64 {
	lags, room := relaxLags(), capacity(celsius, headspaceShare)
	slowest := slowestExchange * (room - capacity(celsius, 0)) / room
	quicker := min(1, slowest/lags[0])
	for i := range lags {
		lags[i] *= quicker
	}
	return lags
}

// restLags are those over this tank's head space.
func (t *Tank) restLags(celsius float64) [relaxTerms]float64 {
	if t.volumesTold() {
		return relaxLagsOver(celsius, t.headspaceShare())
	}
	return relaxLags()
}

// lagPair is a stretch of lags, from and to one of relaxLags: what lies between is near a mixture of both.
type lagPair struct{ slow, quick int }

func lagPairs() [5]lagPair { return [5]lagPair{{5, 6}, {4, 5}, {3, 4}, {1, 3}, {0, 2}} }

// stretch is the whitened regression of all the nulls at once, in kPa, turned
// over: a rise of pressure reads as a fall, as of extract. The nulls share all
// but their relaxing terms, and those of quick lags are soon nothing.
type stretch struct {
	hour  []float64 // since the first point
	gain  []whitening
	x     [][]float64 // whitened regressors: the shared ones, then those of relaxLags, then of lifts; up to the last that is not nothing
	y     []float64   // whitened pressure, less the weather
	air   []float64   // what a barometer has changed by, kPa; nil where none was heard
	nulls []headNull
}

// headNull is the null hypothesis fitted for one stretch of lags.
type headNull struct {
	lags lagPair
	fit  fit
	left float64 // residual
}

// stretch builds the regressions of the points and fits the nulls, of lags with which head pressure comes to rest.
func (c *gauge) stretch(relax [relaxTerms]float64) *stretch {
	n := len(c.Points)
	s := &stretch{
		hour: make([]float64, n), gain: c.whitenings(), x: make([][]float64, n), y: make([]float64, n), air: c.air(),
	}
	answers := c.answers(warmthLags())
	quick, middle, slow := answers[0], answers[1], answers[2]
	base, steps, lifts := c.Points[0], relaxing(relax), c.fadingLifts(relax)
	var rows []float64
	var columns [headTerms]whiten
	var target whiten
	past, since := base.At.Sub(c.Since), time.Duration(0) // of the stretch; of the points
	for i := range c.Points {
		var x [headTerms]float64
		p, g := &c.Points[i], s.gain[i]
		if i > 0 {
			past = p.past
			since += past
		}
		s.hour[i] = since.Hours()
		for j, value := range [sharedTerms]float64{
			middle[i], quick[i] - middle[i], slow[i] - middle[i], p.sin, p.cos, 2 * p.sin * p.cos, p.cos*p.cos - p.sin*p.sin,
			c.warms(i),
		} {
			x[j] = columns[j].next(g, value)
		}
		alive := sharedTerms + steps.next(past, g, columns[sharedTerms:liftsFrom], x[sharedTerms:liftsFrom])
		if lifts != nil {
			alive = headTerms
			for j, left := range lifts[i] {
				x[liftsFrom+j] = columns[liftsFrom+j].next(g, left)
			}
		}
		if i == 0 {
			rows = make([]float64, 0, n*alive) // none has more than the first
		}
		rows = append(rows, x[:alive]...)
		s.x[i] = rows[len(rows)-alive:]
		down := base.KPa + middle[i] - p.KPa
		if s.air != nil {
			down -= c.Open.Share * s.air[i]
		}
		s.y[i] = target.next(g, down)
	}
	s.fitNulls(len(lifts) > 0, c.onlyFed())
	return s
}

// warms is how fast temperature moves the pressure at which a point's beer rests, kPa/h.
func (c *gauge) warms(i int) float64 {
	if i == 0 {
		return 0
	}
	p, before := &c.Points[i], &c.Points[i-1]
	return p.KPa * (before.room/p.room - 1) / p.past.Hours()
}

// fading is the share left of a step at the stretch's beginning, for each lag.
type fading struct {
	lags  [relaxTerms]float64
	gap   time.Duration // the newest between points, and what is left after it
	after [relaxTerms]float64
	left  [relaxTerms]float64
	alive int // how many are not nothing yet
}

// relaxing begins at the stretch's beginning, with all of each step left.
func relaxing(lags [relaxTerms]float64) *fading {
	f := &fading{lags: lags, alive: relaxTerms}
	for j := range f.left {
		f.left[j] = 1
	}
	return f
}

// next whitens what is left at the next point and tells up to where that is not nothing.
func (f *fading) next(past time.Duration, g whitening, columns []whiten, x []float64) int {
	if past != f.gap {
		f.gap = past
		for j, lag := range f.lags {
			f.after[j] = math.Exp(-past.Hours() / lag)
		}
	}
	alive := 0
	for j := range f.alive {
		if f.left[j] *= f.after[j]; f.left[j] < faded {
			f.left[j] = 0
		}
		if x[j] = columns[j].next(g, f.left[j]); x[j] != 0 {
			alive = j + 1
		}
	}
	for f.alive > 0 && f.left[f.alive-1] == 0 && math.Abs(columns[f.alive-1].level) < faded {
		f.alive--
	}
	return alive
}

// moments are inner products of whitened columns: with the terms, with itself and with the pressure.
type moments struct {
	withTerms       [headTerms]float64
	withSelf, withY float64
}

// pairs are the stretches of lags that make a null of their own. Those whose lags are all over, the quickest, are one and
// the same.
func (s *stretch) pairs() []lagPair {
	all, first := lagPairs(), 0
	for first+1 < len(all) && sharedTerms+all[first+1].slow >= len(s.x[0]) {
		first++
	}
	return all[first:]
}

// fitNulls fits the null for each stretch of lags.
func (s *stretch) fitNulls(lifted, fed bool) {
	var gram [headTerms][headTerms]float64
	var y moments
	s.multiply(&gram, &y)
	pairs := s.pairs()
	s.nulls = make([]headNull, 0, len(pairs))
	for _, lags := range pairs {
		if null := (headNull{lags: lags}); null.solve(&gram, &y, len(s.x), lifted, fed) {
			s.nulls = append(s.nulls, null)
		}
	}
}

// multiply fills in the inner products of the regressors, and theirs with the pressure. Four points that have as many are added
// at a time, each after the one before it: a sum is fetched and put back once for all four.
func (s *stretch) multiply(gram *[headTerms][headTerms]float64, y *moments) {
	for i := 0; i < len(s.x); {
		a := s.x[i]
		if i+3 >= len(s.x) || len(s.x[i+1]) != len(a) || len(s.x[i+2]) != len(a) || len(s.x[i+3]) != len(a) {
			for j, value := range a {
				row := gram[j][:j+1]
				for k := range row {
					row[k] += value * a[k]
				}
				y.withTerms[j] += value * s.y[i]
			}
			y.withSelf += s.y[i] * s.y[i]
			i++
			continue
		}
		b, c, d, of := s.x[i+1][:len(a)], s.x[i+2][:len(a)], s.x[i+3][:len(a)], s.y[i:i+4]
		for j := range a {
			row, p, q, r, t := gram[j][:j+1], a[:j+1], b[:j+1], c[:j+1], d[:j+1]
			for k := range row {
				row[k] = row[k] + a[j]*p[k] + b[j]*q[k] + c[j]*r[k] + d[j]*t[k]
			}
			y.withTerms[j] = y.withTerms[j] + a[j]*of[0] + b[j]*of[1] + c[j]*of[2] + d[j]*of[3]
		}
		y.withSelf = y.withSelf + of[0]*of[0] + of[1]*of[1] + of[2]*of[2] + of[3]*of[3]
		i += 4
	}
}

// columns are where the terms of a null stand among all.
func (l lagPair) columns() [gaugeTerms + liftTerms]int {
	return [gaugeTerms + liftTerms]int{0, 1, 2, 3, 4, 5, 6, 7, sharedTerms + l.slow, sharedTerms + l.quick, liftsFrom + l.slow, liftsFrom + l.quick}
}

// columns are those that are in the fit: those of lifts where there were any.
func (n *headNull) columns() []int {
	all := n.lags.columns()
	return all[:n.fit.n]
}

// solve fits the null and tells whether it could.
func (n *headNull) solve(gram *[headTerms][headTerms]float64, y *moments, points int, lifted, fed bool) bool {
	priors := []float64{warmthPrior, mixPrior, mixPrior, dayPrior, dayPrior, halfPrior, halfPrior, behindPrior, relaxPrior, relaxPrior}
	if lifted {
		priors = append(priors, liftPrior, liftPrior)
	}
	n.fit = newFit(ridges(priors...))
	n.fit.yy, n.fit.count = y.withSelf, points
	columns := n.columns()
	for i, a := range columns {
		n.fit.xy[i] = y.withTerms[a]
		for j, b := range columns[:i+1] {
			n.fit.gram[i][j] += gram[max(a, b)][min(a, b)]
		}
	}
	if !n.fit.solve() || fed && !n.sinks() {
		return false
	}
	n.left = n.fit.residual()
	return true
}

// extend tells at which rate, in kPa/h, a course of unit rate comes nearest to the pressure, and by how much the residual falls.
func (n *headNull) extend(made *moments) (rate, gain float64) {
	a := n.further(made)
	return a.alone()
}

// further frees a course of what the null's terms say.
func (n *headNull) further(made *moments) further {
	var withTerms [maxTerms]float64
	for i, a := range n.columns() {
		withTerms[i] = made.withTerms[a]
	}
	return n.fit.further(withTerms, made.withSelf, made.withY)
}

// left is the least residual of the nulls.
func (s *stretch) left() float64 { return s.nothing().left }

// madeFrom are the moments of CO2 that is made from a point on along a course of unit rate.
func (s *stretch) madeFrom(onset int, course func(hours float64) float64) moments {
	var out moments
	var column whiten
	for i := onset; i < len(s.y); i++ {
		made := column.next(s.gain[i], -course(s.hour[i]-s.hour[onset]))
		for j, value := range s.x[i] {
			out.withTerms[j] += value * made
		}
		out.withSelf += made * made
		out.withY += made * s.y[i]
	}
	return out
}
