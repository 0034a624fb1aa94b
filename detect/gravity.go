package detect

import (
	"math"
	"slices"
	"time"

	"spile/detect/beer"
)

// float is the gravity witness: what one hydrometer swimming in the tank says.
//
// Its hourly means of apparent extract are explained twice. The null hypothesis,
// "nothing ferments", holds an offset, a slow drift, an uncorrected temperature
// coefficient and, after hops went in, what they give off and a step that
// relaxes over hours (gravity_bends.go). The alternative adds extract that falls
// from an unknown moment, its rate ramping up as yeast gets going
// (gravity_fit.go). How large each may be is known beforehand within what such
// probes do; noise may run on from hour to hour (first-order autoregression).
// Nothing is fitted by its best value alone: all that is not known is summed
// over, so that a curve that could be bent in many ways convinces of none, and
// what is told of a fall (gravity_fall.go) has honest bounds.
type float struct {
	Gate    gate
	Block   block
	Points  []point
	Warmth  bool      // a temperature is known
	Celsius float64   // the newest one
	White   float64   // degP, noise of one reading against the next, learned
	Noise   float64   // degP, noise that runs on from hour to hour, learned
	Hopped  time.Time // the newest dry-hop that the curve went through; zero: none, or nobody knows
	Earlier time.Time // the one before it, of which there are points yet
	Stepped time.Time // the newest jump that no yeast makes
	Began   time.Time // when it was first heard, or again after it was moved: nobody knows what befell it just before
	Varied  int       // hours in which its readings differed, up to variedHours
	Tried   int       // how often another noise was tried
	Judged  time.Time // the point that was newest then
	Score   float64   // of the newest fit, in nats
	Fall    gravityFall
	Was     *float `json:"-"` // before the newest moment, where an hour ended in it; not kept over a restart
}

// point is one hour of a float.
type point struct {
	At      time.Time
	Plato   float64
	Celsius float64
	N       int
}

// How a float's curve is kept, and what befalls it (common practice).
const (
	floatWidth   = time.Hour
	floatWindow  = 288               // hourly points kept
	beforeHops   = 48                // of these that are kept when hops go in
	floatLeast   = 10                // points before a fit means anything
	creepUsual   = 80 * time.Hour    // after the hops, by when creep mostly begins
	lessLikely   = -1.0              // logarithm of how likely it is to begin at other times, beside
	hopQuiet     = 20 * time.Hour    // after the hops, before creep is looked for
	hopStepLasts = 150 * time.Minute // in which the step that hops make is theirs
	stepQuiet    = 10 * time.Hour    // the same after a jump: hops that nobody logged, a raft that sinks
	floatJump    = 0.35              // degP between hourly means that asks for a second one ...
	floatSigmas  = 3.0               // ... where their noise makes no such jump by itself
	lowestInBeer = 0.992
	densestBeer  = 1.130
	wildGravity  = 0.004    // SG off its hour's median: a bubble, a radio error
	rampHours    = 16.0     // that yeast takes to get going again; creep was seen to ramp over 10 to 24 h (common practice)
	onsetStep    = 3        // hours between candidate onsets
	fastestCreep = 1.5 / 24 // degP/h: the largest creep all in a day (judgement)
)

// Noise, as it is guessed, learned and bounded (floating probes, common practice).
const (
	noiseFloor    = 0.010 // degP, what the resolution of 0.0001 SG leaves
	noiseGuess    = 0.050 // degP, noise that runs on
	whiteGuess    = 0.120 // degP, noise of one reading
	fewReadings   = 2     // in an hour, up to which they do not show their own noise
	tellsItself   = 0.03  // degP, of noise from which readings of an hour do not all agree by chance ...
	variedHours   = 12    // ... once they differed for so many
	whiteMemory   = 24.0  // hours
	noisePace     = 0.15  // of it that another try is more or less
	noiseSpread   = 0.35  // of the logarithm of what runs on, among floats ...
	whiteSpread   = 0.5   // ... and of a reading's own: it comes from 0.0002 to 0.001 SG
	leastVariance = 0.8   // of what was expected: no fit is trusted to be better
	stepLeast     = 0.12  // degP
	stepSigmas    = 4.0
	noiseWeight   = 24.0 // points that the expected residual counts for beside the fit's own
)

// restartFloats forgets the curve, not the probes' noise: new beer went in.
func (t *Tank) restartFloats() {
	for _, f := range t.state.Floats {
		f.restart(t.state.Book.Hopped)
	}
}

func (f *float) restart(hopped time.Time) {
	*f = float{White: f.White, Noise: f.Noise, Varied: f.Varied, Warmth: f.Warmth, Celsius: f.Celsius, Hopped: hopped, Began: f.Began}
}

// hopFloats lets every float's curve go on over a dry-hop: where it stood before tells where it will stand once the hops
// have settled on it, and what fell before falls on. Beer that was not known to be still tells nothing.
func (t *Tank) hopFloats(was book) {
	hopped := t.state.Book.Hopped
	for _, f := range t.state.Floats {
		if !was.Finished || t.state.Verdict.Active || !f.Hopped.IsZero() && !t.hoppedAgain(f.Hopped) {
			f.restart(hopped)
			continue
		}
		f.hop(hopped)
	}
}

// hoppedAgain tells whether the newest hops came upon those of an earlier hour, which the log still has: it was not put right.
func (t *Tank) hoppedAgain(upon time.Time) bool {
	return t.state.Book.Hopped.After(upon) && slices.ContainsFunc(InForce(t.state.Acts.Lines), func(e Event) bool {
		return e.Name == "dry-hop" && e.Time.Equal(upon)
	})
}

// hop takes hops into the curve. Those of one afternoon are one charge. Of three whose steps all show no more is kept than
// what came after the second: that many steps tell nothing of where it stood.
func (f *float) hop(hopped time.Time) {
	var from time.Time
	handled := hopped
	switch {
	case f.Hopped.IsZero():
		from = hopped.Add(-beforeHops * floatWidth)
	case hopped.Sub(f.Hopped) < hopsAround:
		handled = f.Hopped
	default:
		if f.showsEarlier() {
			from = f.Hopped.Add(floatWidth)
		}
		f.Earlier = f.Hopped
	}
	until := hopped.Add(floatWidth)
	f.Points = slices.DeleteFunc(slices.Clone(f.Points), func(p point) bool {
		return p.At.Before(from) || p.At.Add(floatWidth).After(handled) && p.At.Before(until)
	})
	f.Hopped = hopped
	if f.Block.Start.Before(until) {
		f.Block = block{}
	}
	if f.Stepped.After(handled.Add(-hopsAround)) {
		f.Stepped = time.Time{}
	}
}

// showsEarlier tells whether the step of the earlier of two dry-hops is in the curve yet.
func (f *float) showsEarlier() bool {
	return len(f.Points) > 0 && f.Points[0].At.Sub(f.Earlier) < settlesOver
}

// takeGravity follows a float, hour by hour.
func (t *Tank) takeGravity(r Reading) []Finding {
	f := t.state.Floats[r.Probe]
	if f == nil {
		f = &float{Noise: noiseGuess, White: whiteGuess, Began: r.Time}
		t.state.Floats[r.Probe] = f
	}
	if !ofBeer(r) || t.faulty(r.Probe) {
		return nil
	}
	t.state.kept = f.remember(r.Time) || t.state.kept
	done, complete := f.Block.add(r.Time, floatWidth, r.Value, t.floatTemperature(r, f))
	if !complete || !f.addHour(done) {
		return nil
	}
	t.judgeCurve(f)
	return append(t.judgeFloats(r), t.stoodStill(r)...)
}

// floatTemperature is the temperature that a float swims in, or else the last one
// known: a temperature that is not known is taken not to change.
func (t *Tank) floatTemperature(r Reading, f *float) float64 {
	celsius, ok := t.warmthOf(r)
	switch {
	case !ok:
		return f.Celsius
	case !f.Warmth: // the first one known stands for the hours before
		f.Warmth, f.Points = true, slices.Clone(f.Points)
		for i := range f.Points {
			f.Points[i].Celsius = celsius
		}
		for i := range f.Block.Temps {
			f.Block.Temps[i] = celsius
		}
	}
	f.Celsius = celsius
	return celsius
}

// addHour takes a finished hour and tells whether the curve has grown by a believed point.
func (f *float) addHour(done block) bool {
	sg, celsius, deviation, n := done.mean(wildGravity)
	return f.addPoint(point{At: done.Start, Plato: beer.ApparentPlato(sg), Celsius: celsius, N: n}, deviation*beer.PlatoPerPoint*1000)
}

// addPoint takes an hour's mean and how far its readings stray, degP.
func (f *float) addPoint(p point, within float64) bool {
	if p.N > fewReadings && within < 1e-9 { // all the same: where its readings used to differ, it sticks
		if f.Varied >= variedHours && f.White > tellsItself {
			return false
		}
	} else if p.N > fewReadings {
		f.Varied = min(f.Varied+1, variedHours)
	}
	step := max(floatJump, floatSigmas*math.Sqrt(2*(f.white(p.N)+f.Noise*f.Noise)))
	if !f.Gate.pass(p.Plato, p.At, step) {
		return false
	}
	f.dropFirst(p, step)
	f.learnWhite(p, within)
	if f.stepsAt(p) && !f.hopsStep(p) {
		f.Stepped = p.At
	}
	f.Points = append(f.Points, p)
	if len(f.Points) > floatWindow {
		f.Points = f.Points[len(f.Points)-floatWindow:]
	}
	return true
}

// dropFirst forgets the first hour of a curve where the second that is believed stands off it: two bear each other out, and
// nothing came before that first one to hold it back.
func (f *float) dropFirst(p point, step float64) {
	if len(f.Points) == 1 && f.Points[0].At.After(f.Hopped) && math.Abs(p.Plato-f.Points[0].Plato) > step {
		f.Points = nil
	}
}

// learnWhite follows the noise of one reading against the next: from within the
// hour or, where an hour holds too few, from hour to hour.
func (f *float) learnWhite(p point, within float64) {
	if p.N <= fewReadings {
		return
	}
	f.White = math.Sqrt(f.White*f.White + (within*within-f.White*f.White)/whiteMemory)
}

// stepsAt tells whether the curve jumps at a point faster than yeast can work:
// hops that nobody logged, a raft that sinks, something on the float. A jump in
// the middle of an hour shows whole in the next; it is the same one.
func (f *float) stepsAt(p point) bool {
	n := len(f.Points)
	if n < 3 || p.At.Sub(f.Stepped) < 3*floatWidth {
		return false
	}
	return f.stepsFrom(f.Points[n-3:], p) || n > 3 && f.stepsFrom(f.Points[n-4:n-1], p)
}

// hopsStep tells whether a jump at a point is that of the hops: it comes soon after them or, where they are not the first,
// is none from what the float has shown since. It is known without it and hides no fall that was in course.
func (f *float) hopsStep(p point) bool {
	since := !f.Earlier.IsZero() && f.Points[max(0, len(f.Points)-4)].At.Before(f.Hopped)
	return since || !f.Hopped.IsZero() && p.At.Sub(f.Hopped) <= hopStepLasts
}

// stepsFrom tells whether a point stands off the level of three before it. What yeast may have done since the first of them
// is none, in more hours than those three take.
func (f *float) stepsFrom(before []point, p point) bool {
	level, variance := 0.0, f.white(p.N)+f.Noise*f.Noise
	for _, q := range before {
		level += q.Plato / 3
		variance += f.white(q.N) / 9
	}
	least := max(stepLeast, stepSigmas*math.Sqrt(variance))
	if p.Plato < level {
		least += fastestCreep * max(0, (p.At.Sub(before[0].At)-3*floatWidth).Hours())
	}
	return math.Abs(p.Plato-level) > least
}

// earliestOnset is the first point at which creep is looked for. Hops need the
// better part of a day before yeast has their sugar: it was seen from the
// second day on (Bruner, Marcus and Fox, Fermentation 7 (2021) 66). What a
// float shows before that is hops settling.
func (f *float) earliestOnset() int {
	hopped := f.Hopped
	if !f.Earlier.IsZero() { // what those freed is yeast's
		hopped = f.Earlier
	}
	quiet := hopped.Add(hopQuiet)
	for i, p := range f.Points {
		if !p.At.Before(quiet) {
			return i
		}
	}
	return len(f.Points)
}

// unsettles tells whether a point comes so soon after a jump that what begins to fall there may settle. What fell before
// the jump falls on.
func (f *float) unsettles(p point) bool {
	return !f.Stepped.IsZero() && !p.At.Before(f.Stepped) && p.At.Before(f.Stepped.Add(stepQuiet))
}
