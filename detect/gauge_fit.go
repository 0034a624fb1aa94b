package detect

import (
	"math"
	"slices"
	"time"
)

// A gauge's stretch is fitted twice, and the score is the generalised
// log-likelihood ratio of both (Willsky and Jones, "A generalized likelihood
// ratio approach to the detection and estimation of jumps in linear systems",
// IEEE Trans. Autom. Control 21 (1976) 108-112), over the onsets that are tried.
//
// The null hypothesis, "no CO2 is made", holds what gas does by itself:
//
//   - after an opening, a topping up, a dump, beer and head space come to rest
//     again: P - Peq ~ exp(-t/lag), from whatever start, but downward where gas was only put on (gauge_fed.go);
//   - a closed tank answers its temperature, the gas law at once, solubility
//     (Henry) with the lag. A thermometer is not the whole tank, and hops or
//     rousing may have changed the lag: the answers at three lags are mixed;
//   - a thermometer in its well is behind the beer, and pressure ahead of it;
//   - pressure does not answer what a thermometer misreads. Without a doubt for that, the lag that fits best is too slow, and
//     beer that warms makes a quick tank climb too soon (errors in variables: Fuller, "Measurement Error Models", Wiley
//     1987, from memory);
//   - the sun warms the dome by day;
//   - weather and a gauge's drift walk at random, and a low that passes lifts it straight for hours (gauge_front.go);
//   - a relief valve lets go at once of some kPa that come back as after an opening (gauge_lift.go);
//   - hands that nobody logged lift it by a little at once (gauge_step.go).
//
// The alternative adds CO2 whose make ramps up from an unknown moment. Each
// hypothesis may choose its own lag: a climb that relaxes is no yeast's work.
const (
	paceGuess    = 0.25           // kPa per root hour: weather of 1 kPa that remembers a day and a half
	leastPace    = 0.14           // kPa per root hour
	mostPace     = 1.2            // kPa per root hour
	pacePace     = 0.06           // a point, at which it is learned
	paceLeast    = 16             // points before it is
	walkAnew     = 100.0          // kPa: where the walk begins is not known
	gapLeast     = 100.0 / 60     // h without a word, after which nobody knows what temperature did meanwhile
	gapStep      = 3.0            // kPa that it may have done
	gaugeLeast   = 6              // points before a fit means anything
	gaugeLasts   = 5.0            // h that a climb must have lasted
	onsetsBack   = 72 * time.Hour // what began longer ago was heard, or is none
	onsetsNear   = 30 * time.Hour // so near, each hour is a candidate; before, each third
	onsetsCoarse = 5              // each fifth of them is tried first, and the others ...
	worthLooking = 6.0            // ... where that betters the fit by so much
	gaugeTerms   = 10             // of the null ...
	liftTerms    = 2              // ... and more once a relief valve has lifted
	restMisfit   = 0.01           // of the way to where it is now, by which no sum of lags tells how gas comes to rest ...
	restsSteeply = 12 * time.Hour // ... so soon after an act
	actsOwn      = time.Hour      // after an act, in which no onset is looked for
	seldomMemory = 60.0           // points of one reading each, over which its noise is learned, ...
	whiteLeast   = 0.03           // kPa, of it, and ...
	whiteMost    = 1.0            // ... no more: hands must still be told from it ...
	whiteStrays  = 9.0            // ... times its variance, that each counts for at most (judgement)
	mostRate     = 1.8 / 24       // degP/h: creep is slower
	ratePrior    = 0.5 / 24       // degP/h: creep is slow
)

// What the null allows beforehand, as standard deviations (common practice).
const (
	relaxPrior  = 50.0 // kPa that beer and head space are apart after an act
	warmthPrior = 0.2  // of the answer to temperature
	mixPrior    = 0.5  // of the same at a quicker or a slower lag
	behindPrior = 0.25 // h that a thermometer in its well is behind the beer
	dayPrior    = 0.5  // kPa, once a day
	halfPrior   = 0.25 // kPa, twice a day: the sun shines by day only
	liftPrior   = 1.0  // of what was read that a relief valve let go of
)

// A gauge that something holds from outside does not answer temperature (common practice).
const (
	heldOver   = 4    // points over which it has stood ...
	heldAnswer = 1.5  // kPa that temperature should have moved it ...
	heldShare  = 0.15 // of that, which it has not
)

// warmths are at how many lags the answer to temperature is reckoned.
const warmths = 3

// warmthLags are those, in hours.
func warmthLags() [warmths]float64 { return [warmths]float64{0.15, 1.5, 7} }

// fall is what a fit says of extract that falls.
type fall struct {
	Onset time.Time
	Rate  float64 // degP/h once the ramp is over
	Depth float64 // degP that have fermented since the onset
	Now   float64 // degP/h at the newest point
}

// judge fits both hypotheses to the stretch and keeps the score. It is told the head space in L per L of beer, what a kPa
// is of extract, and the lags with which head pressure may come to rest.
func (c *gauge) judge(headspaceShare, platoPerKPa float64, relax [relaxTerms]float64) {
	c.Score, c.Rise, c.Drop = 0, fall{}, headDrop{}
	if len(c.Points) < gaugeLeast {
		return
	}
	c.reckon(headspaceShare)
	s := c.stretch(relax)
	best := c.weigh(s, platoPerKPa)
	if c.Score > 0 && slices.ContainsFunc(c.Points, func(p headPoint) bool { return p.Misread > 0 }) {
		doubting := *c
		doubting.doubts = true
		doubting.weigh(doubting.stretch(relax), platoPerKPa)
		c.Score = min(c.Score, doubting.Score) // the climb stays what it is where its thermometer is believed
	}
	c.Drop = c.drop(s)
	c.learnOpen(s)
	if len(c.Points) >= paceLeast && !c.swings(c.Points[len(c.Points)-1].At) {
		c.learnPace(best.left / c.free())
		c.learnWhite(s, &best)
	}
}

// weigh holds the best climb of a stretch against its nulls, and tells which it is.
func (c *gauge) weigh(s *stretch, platoPerKPa float64) found {
	c.Score, c.Rise = 0, fall{}
	onsets, search := c.onsets(), search{stretch: s, plato: platoPerKPa, found: s.nothing()}
	nullLeft := search.left
	search.among(onsets, onsetsCoarse)
	if nullLeft-search.left > worthLooking {
		search.among(onsets, 1)
	}
	if search.left < nullLeft {
		noise := 2 * surplus(search.left, c.free())
		c.Score, c.Rise = (nullLeft-search.left)/noise, search.rise(c.Points[search.from].At)
		if courses, doubt := c.Rise.steps(); c.Score > doubt {
			c.Score = min(c.Score, max(0, (s.withCourse(1, stepsBack, ofAnySize(), courses...)-search.left)/noise+doubt))
		}
		if c.Score > frontDoubt {
			c.Score = min(c.Score, max(0, (s.withCourse(1, frontsBack, frontKPa, fronts()...)-search.left)/noise+frontDoubt))
		}
	}
	return search.found
}

// free are the degrees of freedom of a fit.
func (c *gauge) free() float64 { return float64(max(len(c.Points)-gaugeTerms, 1)) }

// search is a search for the alternative's best answer, in kPa/h once the ramp is over.
type search struct {
	stretch *stretch
	plato   float64 // degP in a kPa
	found
}

// among tries the creeps from each of the onsets, or from some.
func (s *search) among(onsets []int, stride int) {
	// the prior of a gauge is wider: it tells the creeps that come to much
	prior := 2 * ratePrior / s.plato
	for i := 0; i < len(onsets); i += stride {
		made := s.stretch.madeFrom(onsets[i], fermented)
		made.withSelf += 1 / (prior * prior)
		for j := range s.stretch.nulls {
			null := &s.stretch.nulls[j]
			rate, gain := null.extend(&made)
			if rate > 0 && rate*s.plato < mostRate && null.left-gain < s.left {
				s.found = found{from: onsets[i], null: j, kPa: rate, course: fermented, left: null.left - gain, made: made}
			}
		}
	}
}

// rise is the best answer as the extract that has fermented.
func (s *search) rise(began time.Time) fall {
	hours, rate := s.stretch.since(s.from), s.kPa*s.plato
	return fall{Onset: began, Rate: rate, Depth: rate * fermented(hours), Now: rate * ramped(hours)}
}

// onsets are the points from which a climb is tried.
func (c *gauge) onsets() []int {
	out := make([]int, 0, len(c.Points)/2)
	newest, settled := c.Points[len(c.Points)-1].At, c.Since.Add(actsOwn)
	oldest, near, last := newest.Add(-onsetsBack), newest.Add(-onsetsNear), newest.Add(-hours(gaugeLasts))
	for i := 2; i < len(c.Points)-2; i += 2 {
		switch at := &c.Points[i].At; {
		case at.After(last):
			return out
		case at.Before(oldest), at.Before(settled):
		case i%6 != 0 && at.Before(near):
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
	newest, steeply := &c.Points[len(c.Points)-1], c.Since.Add(restsSteeply)
	left := walkAnew * walkAnew
	for i := range c.Points {
		p := &c.Points[i]
		if i > 0 {
			past := p.past.Hours()
			left += c.Pace * c.Pace * past
			if past > gapLeast {
				left += gapStep * gapStep
			}
		}
		total := left + c.White*c.White/float64(max(p.N, 1)) + headDigit*headDigit + c.misread*c.misread
		if c.doubts {
			misread := answerShare * p.KPa * p.Misread
			total += misread * misread
		}
		if p.At.Before(steeply) {
			off := restMisfit * (p.KPa - newest.KPa)
			total += off * off
		}
		for _, l := range c.liftsAt(i) {
			total += l.doubt(c.White)
		}
		share := left / total
		out[i] = whitening{keep: 1, share: share, scale: 1 / math.Sqrt(total)}
		left *= 1 - share
	}
	return out
}

// reckon fills in what the points' terms need, once in their lives.
func (c *gauge) reckon(headspaceShare float64) {
	for i := range c.Points {
		p := &c.Points[i]
		if p.room != 0 {
			continue
		}
		p.room = capacity(p.Celsius, headspaceShare)
		p.sin, p.cos = math.Sincos(2 * math.Pi * p.At.Sub(p.At.Truncate(24*time.Hour)).Hours() / 24)
		if i > 0 {
			p.past = p.At.Sub(c.Points[i-1].At)
		}
	}
}

// answers are what temperature alone does to the pressure of a closed tank since its first point, for each of some lags. What
// a relief valve let go of is in them no more. Temperature goes straight from point to point: as steps it would be half a
// point ahead, and a quick thermostat's pressure fit no lag at all.
func (c *gauge) answers(lags [warmths]float64) (out [warmths][]float64) {
	n := len(c.Points)
	all := make([]float64, warmths*n)
	var path [warmths][gaugeWindow]float64 // they are no more
	for k := range out {
		out[k], path[k][0] = all[k*n:(k+1)*n], c.Points[0].KPa
	}
	content := c.Points[0].room * c.Points[0].KPa
	var gap time.Duration
	var left, meanwhile [warmths]float64 // of what gas and beer were apart before a gap, and of what came between them in it
	for i := 1; i < n; i++ {
		p, before := &c.Points[i], &c.Points[i-1]
		if p.past != gap {
			gap = p.past
			for k, lag := range lags {
				left[k] = math.Exp(-gap.Hours() / lag)
				meanwhile[k] = (1 - left[k]) * lag / gap.Hours()
			}
		}
		for _, l := range c.liftsAt(i) {
			content -= l.Grams
		}
		rested, rests := content/before.room, content/p.room
		for k := range lags {
			was := path[k][i-1]
			atOnce := was * (p.Celsius - before.Celsius) / (before.Celsius + zeroCelsius)
			now := rests + (was-rested)*left[k] + (atOnce-(rests-rested))*meanwhile[k]
			path[k][i], out[k][i] = now, out[k][i-1]
			if !c.held(i, now-path[k][max(0, i-heldOver)]) {
				out[k][i] += now - was
			}
		}
	}
	return out
}

// held tells whether the pressure stood still over the last hours up to a point while
// temperature should have moved it by so much, as it does behind a valve or a regulator.
// One that lifted has moved it, and where it stands as before, it is by chance.
func (c *gauge) held(i int, answer float64) bool {
	j := max(0, i-heldOver)
	answer = math.Abs(answer)
	if answer <= heldAnswer || math.Abs(c.Points[i].KPa-c.Points[j].KPa) >= heldShare*answer {
		return false
	}
	return len(c.between(c.Points[j].At, c.Points[i].At)) == 0
}

// learnPace follows how fast weather and drift walk: faster while the fit leaves more than it should, slower while it
// leaves less.
func (c *gauge) learnPace(surplus float64) {
	step := 1 + pacePace*(math.Sqrt(min(max(surplus, 0.2), 3))-1)
	c.Pace = min(max(c.Pace*step, leastPace), mostPace)
}

// learnWhite follows the noise of a reading where a half hour holds but one, by what is left of the newest two points: of a
// level that walks, the share that a filter does not take up of one surprise, less its product with the next, is in the mean
// the white noise, however wrong the filter is (Mehra, "On the identification of variances and adaptive Kalman filtering",
// IEEE Trans. Autom. Control 15 (1970) 175-184). A gauge that is taken for noisier than it is learns too slow a walk, and
// weather that goes one way for hours is then told as creep.
func (c *gauge) learnWhite(s *stretch, best *found) {
	n := len(c.Points)
	newest, before := &c.Points[n-1], &c.Points[n-2]
	if newest.N != 1 || before.N != 1 || newest.past.Hours() > gapLeast || before.At.Sub(c.Since) < restsSteeply || len(s.nulls) == 0 {
		return
	}
	left := s.beside(best)
	surprise, next := left[n-2]/s.gain[n-2].scale, left[n-1]/s.gain[n-1].scale
	white, most := (1-s.gain[n-2].share)*surprise*surprise-next*surprise-headDigit*headDigit, whiteStrays*c.White*c.White
	learned := c.White*c.White + (min(max(white, -most), most)-c.White*c.White)/seldomMemory
	c.White = math.Sqrt(min(max(learned, whiteLeast*whiteLeast), whiteMost*whiteMost))
}
