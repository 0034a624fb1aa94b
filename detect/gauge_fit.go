package detect

import (
	"math"
	"time"
)

// A gauge's stretch is fitted twice, as a float's curve is (gravity.go), and the
// score is the generalised log-likelihood ratio of both; sources stand there.
//
// The null hypothesis, "no CO2 is made", holds what gas does by itself:
//
//   - after an opening, a topping up, a dump, beer and head space come to rest
//     again: P - Peq ~ exp(-t/lag), from whatever start;
//   - a closed tank answers its temperature, the gas law at once, solubility
//     (Henry) with the lag. A thermometer is not the whole tank, and hops or
//     rousing may have changed the lag: the answers at three lags are mixed;
//   - the sun warms the dome by day;
//   - weather and a gauge's drift walk at random.
//
// The alternative adds CO2 whose make ramps up from an unknown moment. Each
// hypothesis may choose its own lag: a climb that relaxes is no yeast's work.
const (
	paceGuess    = 0.25              // kPa per root hour: weather of 1 kPa that remembers a day and a half
	leastPace    = 0.14              // kPa per root hour
	mostPace     = 1.2               // kPa per root hour
	pacePace     = 0.06              // a point, at which it is learned
	paceLeast    = 16                // points before it is
	walkAnew     = 100.0             // kPa: where the walk begins is not known
	gapLeast     = 100 * time.Minute // without a word, after which nobody knows what temperature did meanwhile
	gapStep      = 3.0               // kPa that it may have done
	gaugeLeast   = 6                 // points before a fit means anything
	gaugeLasts   = 5.0               // h that a climb must have lasted
	onsetsBack   = 72 * time.Hour    // what began longer ago was heard, or is none
	onsetsNear   = 30 * time.Hour    // so near, each hour is a candidate; before, each third
	onsetsCoarse = 5                 // each fifth of them is tried first, and the others ...
	worthLooking = 6.0               // ... where that betters the fit by so much
	gaugeTerms   = 9                 // of the null
	actsOwn      = time.Hour         // after an act, in which no onset is looked for
	mostRate     = 1.8 / 24          // degP/h: creep is slower
)

// What the null allows beforehand, as standard deviations (common practice).
const (
	relaxPrior  = 50.0 // kPa that beer and head space are apart after an act
	warmthPrior = 0.2  // of the answer to temperature
	mixPrior    = 0.5  // of the same at a quicker or a slower lag
	dayPrior    = 0.5  // kPa, once a day
	halfPrior   = 0.25 // kPa, twice a day: the sun shines by day only
)

// A gauge that something holds from outside does not answer temperature.
const (
	heldOver   = 4    // points over which it has stood ...
	heldAnswer = 1.5  // kPa that temperature should have moved it ...
	heldShare  = 0.15 // of that, which it has not
)

// lagPair is a stretch of lags, in hours: what lies between is near a mixture of both.
type lagPair struct{ quick, slow float64 }

// relaxLags are the lags with which head pressure comes to rest with the beer.
// The exchange lag of the beer is longer by 1 + H/(g h), H the solubility, g the
// density of CO2 gas per kPa, h the head space per litre: head space holds so
// little CO2 beside the beer that the 40 h of a still, cold tank are 2 h over a
// head space of 5 %, and 8 h over one of 25 %.
func relaxLags() [5]lagPair {
	return [5]lagPair{{0.08, 0.3}, {0.3, 0.8}, {0.8, 2}, {2, 5}, {4, 9}}
}

// warmthLags are those at which the answer to temperature is reckoned, in hours.
func warmthLags() [3]float64 { return [3]float64{0.15, 1.5, 7} }

// judge fits both hypotheses to the stretch and keeps the score.
func (c *gauge) judge(headspaceShare, platoPerKPa float64) {
	c.Score, c.Rise = 0, fall{}
	if len(c.Points) < gaugeLeast {
		return
	}
	curves := c.curves(headspaceShare)
	nullLeft, onsets, search := math.Inf(1), c.onsets(), search{plato: platoPerKPa, left: math.Inf(1)}
	for _, v := range curves {
		nullLeft = min(nullLeft, v.null.residual())
		search.among(v, onsets, onsetsCoarse)
	}
	if nullLeft-search.left > worthLooking {
		for _, v := range curves {
			search.among(v, onsets, 1)
		}
	}
	altLeft, best := search.left, search.best
	free := float64(max(len(c.Points)-gaugeTerms, 1))
	if best.curve != nil && altLeft < nullLeft {
		variance := max(leastVariance, (altLeft+noiseWeight)/(free+noiseWeight))
		c.Score = (nullLeft - altLeft) / (2 * variance)
		c.Rise = best.fall(c.Points[best.onset].At, platoPerKPa)
	}
	if len(c.Points) >= paceLeast {
		c.learnPace(altLeft / free)
	}
}

// curves are the null's fits, one for each stretch of lags.
func (c *gauge) curves(headspaceShare float64) []*curve {
	gains, rows := c.whitenings(), c.rows(headspaceShare)
	var out []*curve
	for _, lag := range relaxLags() {
		if v := c.curve(lag, rows, gains); v.null.solve() {
			out = append(out, v)
		}
	}
	return out
}

// search is a search for the alternative's best answer.
type search struct {
	plato float64 // degP in a kPa
	left  float64 // of the best
	best  trial
}

// among tries the creeps of one curve, from each of the onsets or from some.
func (s *search) among(v *curve, onsets []int, stride int) {
	left := v.null.residual()
	s.left = min(s.left, left)
	for i := 0; i < len(onsets); i += stride {
		// the prior of a gauge is wider: it tells the creeps that come to much
		try := v.try(onsets[i], 2*ratePrior/s.plato, fermented)
		if try.rate > 0 && try.rate*s.plato < mostRate && left-try.gain < s.left {
			s.left, s.best = left-try.gain, try
		}
	}
}

// onsets are the points from which a climb is tried.
func (c *gauge) onsets() []int {
	var out []int
	newest := c.Points[len(c.Points)-1].At
	for i := 1; i < len(c.Points)-2; i++ {
		before := newest.Sub(c.Points[i].At)
		switch {
		case before.Hours() < gaugeLasts:
			return out
		case before > onsetsBack, c.Points[i].At.Sub(c.Since) < actsOwn:
		case before > onsetsNear && i%6 != 0, i%2 != 0:
		default:
			out = append(out, i)
		}
	}
	return out
}

// whitenings are the filter's gains for the points of a gauge: white noise of a
// half hour's mean over a level that walks.
func (c *gauge) whitenings() []whitening {
	out := make([]whitening, len(c.Points))
	left := walkAnew * walkAnew
	for i, p := range c.Points {
		if i > 0 {
			gap := p.At.Sub(c.Points[i-1].At)
			left += c.Pace * c.Pace * gap.Hours()
			if gap > gapLeast {
				left += gapStep * gapStep
			}
		}
		total := left + c.White*c.White/float64(max(p.N, 1)) + headDigit*headDigit
		share := left / total
		out[i] = whitening{keep: 1, share: share, scale: 1 / math.Sqrt(total)}
		left *= 1 - share
	}
	return out
}

// headRow is what the null holds of one point whatever the lag: the answer to
// temperature, which is taken off, and the terms.
type headRow struct {
	answer float64
	terms  [7]float64
}

// rows are those of the points.
func (c *gauge) rows(headspaceShare float64) []headRow {
	lags := warmthLags()
	quick, middle, slow := c.answers(lags[0], headspaceShare), c.answers(lags[1], headspaceShare), c.answers(lags[2], headspaceShare)
	out := make([]headRow, len(c.Points))
	for i, p := range c.Points {
		day := 2 * math.Pi * p.At.Sub(p.At.Truncate(24*time.Hour)).Hours() / 24
		out[i] = headRow{answer: middle[i], terms: [7]float64{
			middle[i], quick[i] - middle[i], slow[i] - middle[i], math.Sin(day), math.Cos(day), math.Sin(2 * day), math.Cos(2 * day),
		}}
	}
	return out
}

// answers is what temperature alone does to the pressure of a closed tank since
// its first point, for one lag.
func (c *gauge) answers(lag, headspaceShare float64) []float64 {
	out, path := make([]float64, len(c.Points)), make([]float64, len(c.Points))
	first := c.Points[0]
	content := capacity(first.Celsius, headspaceShare) * first.KPa
	path[0] = first.KPa
	for i := 1; i < len(c.Points); i++ {
		p, before := c.Points[i], c.Points[i-1]
		now := path[i-1] * (p.Celsius + zeroCelsius) / (before.Celsius + zeroCelsius)
		rest := content / capacity(p.Celsius, headspaceShare)
		path[i] = now - (rest-now)*math.Expm1(-p.At.Sub(before.At).Hours()/lag)
		out[i] = out[i-1]
		if !c.held(i, path) {
			out[i] += path[i] - path[i-1]
		}
	}
	return out
}

const zeroCelsius = 273.15 // K

// held tells whether the pressure stood still over the last hours while the
// temperature moved, as it does behind a valve or a regulator.
func (c *gauge) held(i int, path []float64) bool {
	j := max(0, i-heldOver)
	answer := math.Abs(path[i] - path[j])
	return answer > heldAnswer && math.Abs(c.Points[i].KPa-c.Points[j].KPa) < heldShare*answer
}

// curve builds the whitened regression of the null hypothesis for one stretch of
// lags, in kPa, turned over: a rise of pressure reads as a fall, as of extract.
func (c *gauge) curve(lag lagPair, rows []headRow, gains []whitening) *curve {
	n := len(c.Points)
	out := &curve{x: make([][maxTerms]float64, n), y: make([]float64, n), hour: make([]float64, n), gain: gains}
	out.null = newFit(ridges(warmthPrior, mixPrior, mixPrior, dayPrior, dayPrior, halfPrior, halfPrior, relaxPrior, relaxPrior))
	base := c.Points[0]
	var columns [maxTerms]whiten
	var target whiten
	for i, p := range c.Points {
		out.hour[i] = p.At.Sub(base.At).Hours()
		since := p.At.Sub(c.Since).Hours()
		var row [maxTerms]float64
		k := copy(row[:], rows[i].terms[:])
		row[k], row[k+1] = relaxing(since, lag.quick), relaxing(since, lag.slow)
		for j := range out.null.n {
			out.x[i][j] = columns[j].next(gains[i], row[j])
		}
		out.y[i] = target.next(gains[i], base.KPa+rows[i].answer-p.KPa)
		out.null.add(&out.x[i], out.y[i])
	}
	return out
}

// learnPace follows how fast weather and drift walk, as a float's lasting noise is followed.
func (c *gauge) learnPace(surplus float64) {
	step := 1 + pacePace*(math.Sqrt(min(max(surplus, 0.2), 3))-1)
	c.Pace = min(max(c.Pace*step, leastPace), mostPace)
}
