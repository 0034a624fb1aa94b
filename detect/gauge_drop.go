package detect

import (
	"math"
	"slices"
	"time"
)

// headDrop is head pressure that has gone down and stays down, as a leak lets it: quickly at first, for the head space
// holds little CO2, until the beer gives off as much as is lost; steadily where it does so at once.
type headDrop struct {
	Score float64 // logarithm of the likelihood ratio, against all that gas does by itself
	Step  float64 // the same against pressure that went down at once and stays so, as hands leave it
	KPa   float64 // that it has gone down since
	At    time.Time
}

// How a drop is looked for (judgement; what it must come to is asked in leak.go).
const (
	dropRests     = 3.0              // h, time constant in which head and beer come to terms with a leak
	dropGoesOn    = 0.035            // an hour, of it, that the beer then goes down with it
	dropNear      = 20 * time.Hour   // so near, each hour is a candidate ...
	dropBack      = 48 * time.Hour   // ... and before, each third; what began longer ago the balance knows better
	dropSteps     = 40               // newest points in which hands may have let it down at once
	dropSeesSteps = 3                // readings in a half hour of its newest ...
	dropSeesLast  = 8                // ... points, from where on a gauge tells two steps from a fall between its words
	dropLeast     = 1.5              // kPa, below the highest of that time, from where a look is worth it
	dropGap       = 40 * time.Minute // without a word of gauge or thermometer, unless it speaks so seldom, over which no drop is told
	dropLasts     = 2.0              // h that it must have lasted
	dropTurned    = 1.0              // K, of beer that moved so far no drop is told: a thermometer is not the whole tank
)

// The noise that a drop is held against is that of its own days: the first ones after hops are rougher. What a
// thermometer misses from one half hour to the next, its rounding and its lag, comes back with the next cycle of the
// thermostat and is no walk; over a small head space it would pass for a rough one. What else the points say that their
// thermometer misses does not count here: it blinds an hourly gauge to a leak, and the balance must agree with a drop.
const (
	dropDays     = 72 * time.Hour
	dropMisread  = 0.04 // K, by which a half hour's mean temperature is off
	answerShare  = 0.03 // of the pressure, by which that of a small head space goes with each K (Henry)
	walkOver     = 12   // points, over which the walk is measured
	walkFitted   = 48.0 // of them that the fit takes up
	walkTakenFor = 48.0 // that the gauge's own pace counts for beside them
	walkAtLeast  = 0.35 // of that pace's square: so much of it is a walk, whatever is misread
)

// dropped is the course of a drop of unit size over beer that is slow to give its gas off.
func dropped(hours float64) float64 { return -math.Expm1(-hours/dropRests) + dropGoesOn*hours }

// seeped is the course over beer that is quick to: head and beer go down together. As dropped it would be taken for two thirds
// of what it is, and for rough weather beside that.
func seeped(hours float64) float64 { return hours }

// dropCourses are those that are looked for.
func dropCourses() [2]func(hours float64) float64 {
	return [2]func(hours float64) float64{dropped, seeped}
}

// drop holds a drop from each of the newest hours against the nulls of a stretch, and then against those of its own days.
func (c *gauge) drop(s *stretch) headDrop {
	newest := c.Points[len(c.Points)-1]
	_, high := c.lately(dropBack, func(p *headPoint) float64 { return p.KPa })
	if high-newest.KPa < dropLeast || c.turnedBy(dropNear) > dropTurned {
		return headDrop{}
	}
	first, ok := c.seekDrop(s)
	if !ok {
		return headDrop{}
	}
	own := c.ownDays(first.noise(c, s))
	if len(own.Points) < gaugeLeast {
		return headDrop{}
	}
	days := own.stretch(relaxLags()) // of any head space: gas put on comes to rest downward, as a leak begins
	best, ok := own.seekDrop(days)
	if !ok {
		return headDrop{}
	}
	var hands float64
	if c.speaksOften() {
		hands = days.withTwoSteps(dropSteps)
	} else {
		hands = days.withCourse(-1, dropSteps, ofAnySize(), stepped(stepAtOnce))
	}
	noise := 2 * surplus(best.left, own.free())
	return headDrop{
		Score: (days.left() - best.left) / noise, Step: (min(days.left(), hands) - best.left) / noise,
		KPa: -best.kPa * best.course(days.since(best.from)), At: own.Points[best.from].At,
	}
}

// speaksOften tells whether a gauge tells two steps from a fall between its words. A message that was lost makes none of it
// that seldom speaks.
func (c *gauge) speaksOften() bool {
	return slices.ContainsFunc(c.Points[max(0, len(c.Points)-dropSeesLast):], func(p headPoint) bool { return p.N >= dropSeesSteps })
}

// turnedBy is by how many K the beer has moved in the newest hours. What comes and goes within two points is a door.
func (c *gauge) turnedBy(over time.Duration) float64 {
	newest := c.Points[len(c.Points)-1].At
	low, high := math.Inf(1), math.Inf(-1)
	for i := len(c.Points) - 1; i >= 0 && (i == len(c.Points)-1 || newest.Sub(c.Points[i].At) < over); i-- {
		var around []float64
		for _, p := range c.Points[max(0, i-2):min(len(c.Points), i+3)] {
			around = append(around, p.Celsius)
		}
		low, high = min(low, median(around)), max(high, median(around))
	}
	return high - low
}

// found is what betters the nulls of a stretch most, on top of one of them.
type found struct {
	from, null int                         // the point it begins at, and the null it betters
	kPa        float64                     // of a unit of its course; of a drop, less than nothing
	course     func(hours float64) float64 // that it runs along
	left       float64                     // residual with it
	made       moments
}

// nothing is the best null, and nothing on top of it.
func (s *stretch) nothing() found {
	out := found{from: len(s.y), left: math.Inf(1)}
	for j := range s.nulls {
		if s.nulls[j].left < out.left {
			out.null, out.left = j, s.nulls[j].left
		}
	}
	return out
}

// since are the hours from a point of a stretch to its newest.
func (s *stretch) since(point int) float64 { return s.hour[len(s.hour)-1] - s.hour[point] }

// Gas that nobody logged: what a regulator held comes to rest for days once it is off again (common practice).
const (
	regulatedLifts = 3.0            // kPa
	regulatedSags  = 0.1            // of that, less than which closed gas does not go into the beer in some hours
	regulatedBegan = 2 * time.Hour  // after the act, by when the stretch's first point must have come, and so long after what was logged
	regulatedMean  = 3              // points, over which a level is taken
	regulatedRests = 24 * time.Hour // from when the pressure goes down, after which its gas has come to rest
	putBackWithin  = 24 * time.Hour // of an act: gas that is put on up to where it was before that is no new gas; later, the beer has come to terms with less
	openAtMost     = 6.7            // kPa over the air: a tank that stood so low before was open, and its beer gives back what it held
)

// offRegulator tells whether what goes down is gas that people put on and that comes to rest: an unlogged act had lifted the
// pressure, and it stood there until then, as a regulator holds it. Below where the tank stood before, something else
// takes it.
func (t *Tank) offRegulator(probe string) bool {
	c := t.state.Gauges[probe]
	if c == nil || c.Drop.At.IsZero() || c.Before == 0 || c.Since.Sub(c.Logged) < regulatedBegan {
		return false
	}
	first, newest := c.Points[0], c.Points[len(c.Points)-1]
	lifted := first.KPa - c.Before
	if c.Before < t.settings.AtmosphereKPa+openAtMost || lifted < regulatedLifts || first.At.Sub(c.Since) > regulatedBegan {
		return false
	}
	if newest.KPa < c.Before || newest.At.Sub(c.Drop.At) > regulatedRests {
		return false
	}
	held, n := 0.0, 0.0
	for _, p := range c.Points {
		if !p.At.After(c.Drop.At) && c.Drop.At.Sub(p.At) < regulatedMean*gaugeWidth {
			held, n = held+p.KPa, n+1
		}
	}
	return n > 0 && math.Abs(first.KPa-held/n) < regulatedSags*lifted
}

// Gas that nobody logged, put on so gently that no two readings jump, or seen between two words of a gauge alone (judgement).
const putOnWithin = 3 * time.Hour // before a drop begins

// givesBack tells whether a drop is gas that was put on just before, and that goes into the beer: a leak takes what stood
// there before that, too. What temperature lifts, at once or at rest, is no gas.
func (c *gauge) givesBack(headspaceShare float64) bool {
	c.reckon(headspaceShare) // after a restart, or a door, no fit has yet
	began := c.pointsUntil(c.Drop.At)
	if len(began) == 0 {
		return false
	}
	top, lifted := began[len(began)-1], 0.0
	for i := len(began) - 2; i >= 0 && top.At.Sub(began[i].At) <= putOnWithin; i-- {
		before := began[i].KPa
		lifted = max(lifted, top.KPa-max(before, before*began[i].room/top.room))
	}
	return lifted >= regulatedLifts && c.Drop.KPa-lifted < leakDrop
}

// pointsUntil are the points up to a moment.
func (c *gauge) pointsUntil(at time.Time) []headPoint {
	n := len(c.Points)
	for n > 0 && c.Points[n-1].At.After(at) {
		n--
	}
	return c.Points[:n]
}

// fell is how many kPa a gauge has gone down in a time, by the means of the last quarter of it and of the one before it.
func (c *gauge) fell(over time.Duration) float64 {
	newest := c.Points[len(c.Points)-1].At
	var sum, n [2]float64 // now, then
	for _, p := range c.Points {
		for i, until := range [2]time.Time{newest, newest.Add(-over)} {
			if past := until.Sub(p.At); past >= 0 && past < over/4 {
				sum[i], n[i] = sum[i]+p.KPa, n[i]+1
			}
		}
	}
	return sum[1]/max(n[1], 1) - sum[0]/max(n[0], 1)
}

// seekDrop looks for the best drop of a stretch of the gauge's points, and tells whether there is any.
func (c *gauge) seekDrop(s *stretch) (best found, ok bool) {
	best = s.nothing()
	newest := c.Points[len(c.Points)-1].At
	for i := len(c.Points) - 2; i > 0 && newest.Sub(c.Points[i].At) < dropBack; i-- {
		gap := c.Points[i+1].At.Sub(c.Points[i].At) > gaugeWidth+dropGap
		if gap || !c.Points[i].At.After(c.Blind) { // nobody knows what temperature, or hands, did meanwhile
			break
		}
		if i%2 != 0 || s.since(i) < dropLasts || newest.Sub(c.Points[i].At) >= dropNear && i%6 != 0 {
			continue
		}
		for _, course := range dropCourses() {
			down := s.madeFrom(i, course)
			for j := range s.nulls {
				if kPa, gain := s.nulls[j].extend(&down); kPa < 0 && s.nulls[j].left-gain < best.left {
					best, ok = found{from: i, null: j, kPa: kPa, course: course, left: s.nulls[j].left - gain, made: down}, true
				}
			}
		}
	}
	return best, ok
}

// ownDays is the gauge with its newest days alone, in which its level walks at one pace and is misread by so much.
func (c *gauge) ownDays(pace, misread float64) *gauge {
	newest := c.Points[len(c.Points)-1]
	first := 0
	for newest.At.Sub(c.Points[first].At) > dropDays {
		first++
	}
	return &gauge{Since: c.Since, Let: c.Since, Points: c.Points[first:], Lifts: c.Lifts, Pace: pace, White: c.White, Open: c.Open, Blind: c.Blind, misread: misread}
}

// noise tells the pace, kPa per root hour, at which the pressure has walked in the newest days beside a drop, and by how
// many kPa each point is misread: what comes back within hours is no walk.
func (d *found) noise(c *gauge, s *stretch) (pace, misread float64) {
	newest := c.Points[len(c.Points)-1]
	most := dropMisread * answerShare * newest.KPa
	short, long := gaugeWidth.Hours(), walkOver*gaugeWidth.Hours()
	var past [walkOver]float64
	var at, shortSum, longSum float64
	seen, longs := 0, 0
	for i, left := range s.beside(d) {
		if i == 0 || newest.At.Sub(c.Points[i].At) > dropDays {
			continue
		}
		step := left / s.gain[i].scale
		at += step
		shortSum += step * step
		if seen >= walkOver {
			moved := at - past[seen%walkOver]
			longSum += moved * moved
			longs++
		}
		past[seen%walkOver] = at
		seen++
	}
	if longs < walkOver {
		return c.Pace, 0
	}
	// A step of a misread walk has the variance 2 misread^2 + pace^2 hours.
	steps := shortSum / float64(seen)
	walked := max((longSum/float64(longs)-steps)/(long-short), 0)
	misread = math.Sqrt(min(max((steps-walked*short)/2, 0), most*most))
	guess := max(c.Pace*c.Pace-4*misread*misread, c.Pace*c.Pace*walkAtLeast)
	free := max(float64(longs)-walkFitted, 0)
	weight := free / (free + walkTakenFor)
	return math.Sqrt(max(weight*walked+(1-weight)*guess, leastPace*leastPace)), misread
}

// beside is what is left of the whitened pressure of a stretch beside what was found and the null that it betters.
func (s *stretch) beside(d *found) []float64 {
	null := &s.nulls[d.null]
	columns := null.columns()
	var withTerms [maxTerms]float64
	for i, a := range columns {
		withTerms[i] = d.made.withTerms[a]
	}
	shift := null.fit.inverse(withTerms)
	out := make([]float64, len(s.y))
	var column whiten
	for i := range s.y {
		out[i] = s.y[i]
		if i >= d.from {
			out[i] -= d.kPa * column.next(s.gain[i], -d.course(s.hour[i]-s.hour[d.from]))
		}
		for k, a := range columns {
			if a < len(s.x[i]) {
				out[i] -= (null.fit.beta[k] - d.kPa*shift[k]) * s.x[i][a]
			}
		}
	}
	return out
}
