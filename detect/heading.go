package detect

import (
	"math"
	"time"
)

// heading looks ahead: does beer that is still within its allowance leave it soon?
//
// A thermostat makes a sawtooth whose tops come back day after day. Beer whose
// cooling has failed climbs past those tops and goes on climbing; the line
// through its last hours then says when it will pass the limit. A door left
// open, a warm afternoon, a wide thermostat do not climb past their tops. Tops
// and climb are read on the same thermometer and by the same lines, so that
// neither its error nor what lines make of a sawtooth matters.
type heading struct {
	Block   block
	Heard   time.Time     // the newest reading
	Trail   []glance      // means of ten minutes over the last hours
	Rise    tops          // the highest since the thermostat last turned it, or first let it rise
	Tops    []tops        // the highest of each stretch over the last days, while the beer was held
	Since   time.Time     // from when on it was held
	Learned time.Time     // the newest mean that counted for that
	Held    float64       // degC, its mean while it is held
	saw                   // as the thermostat turned it by then
	Newest  saw           // the same of the newest mean
	Passed  bool          // its limit, since it goes up
	Backs   []back        `json:",omitempty"` // where it was turned before its limit, of late
	Turns   int           // tops seen while it was held
	Turned  float64       // degC, the newest of them, as the thermostat turned it
	Spoke   time.Duration // for how long it was heard of all this
	Noise   float64       // K, of one of the trail's means
	Climb   climb         // past its tops, as of the newest mean
}

// glance is one mean, and what the lines that end there say of where the beer is.
type glance struct {
	sample
	Ends [looks]float64
}

// tops are the highest ends of the lines over some hours.
type tops struct {
	At   time.Time
	Ends [looks]float64
}

// climb is beer that goes up past its tops.
type climb struct {
	Slope float64 // K/h; 0: it does not climb
	Level float64 // degC now
	Lasts time.Duration
}

// When a climb is told ahead (common practice).
const (
	headingWidth   = 10 * time.Minute
	headingSeldom  = 2 * headingWidth // between means, from where a climb near the limit waits for no further one
	headingTrail   = 9 * time.Hour
	headingLag     = 8 * time.Hour      // as the longest look
	headingTops    = 5 * 24 * time.Hour // that tops are remembered
	headingStretch = 6 * time.Hour
	headingHistory = 12 * time.Hour   // that beer must have been held before its tops are known
	headingGap     = 70 * time.Minute // between means, beyond which it was not heard: a thermometer that spoke for hours, and days later again, knows little
	headingTop     = 40 * time.Minute
	headingMean    = 12.0 // h, time constant of the mean
	headingAhead   = 6.0  // h to the limit when it is told
	headingReach   = 0.50 // K to the limit when it is told of a thermostat that was not seen to turn
	headingSigmas  = 2.5
	turnLeast      = 0.12 // K that the beer must go the other way to have turned
	backUp         = 0.05 // K below where it was, from which beer has come back up
	turnsKnown     = 3    // tops that make a thermostat known
	leastPast      = 0.05 // K past its tops that its mean must be
	hangingReach   = 0.25 // K below the limit, where beer is told that hangs ...
	hangingPast    = 0.10 // ... K over its tops ...
	hangingFor     = 2 * time.Hour
	hangingFar     = 0.50 // K below the limit, for a thermometer may read low, where beer is told that hangs ...
	hangingHigh    = 0.25 // ... K over its tops ...
	hangingLong    = 6 * time.Hour
	hangingBack    = 0.05 // K below the highest of its tops but one, which may be a door's: there beer does not hang, it comes and goes
	hangingNoTops  = 0.45 // K below the limit, where beer is told that hangs whatever its tops, if it is ...
	hangingOver    = 0.60 // ... K over its setpoint: a wide thermostat and a thermometer at its worst come to 0.7, but not ...
	hangingLonger  = 8 * time.Hour
	leastClimb     = 0.012 // K/h
	climbShare     = 0.4   // of its climb that the newest third of it must hold
	surelyRising   = 0.05  // K/h ...
	headingAlmost  = 0.2   // ... and K to the limit, where no tops are known
	headingNoise   = 0.03  // K, the least and the first guess
	noiseMeans     = 8     // of the trail, before it is learned: a thermometer that speaks each hour or a little less has no more
	probeError     = 0.3   // K: IEC 60751 class B at 0 degC; by so much a thermometer may be off
)

// looks is how many stretches of time a climb is looked for over.
const looks = 4

// lookOver are those stretches.
func lookOver() [looks]time.Duration {
	return [looks]time.Duration{time.Hour, 2 * time.Hour, 4 * time.Hour, 8 * time.Hour}
}

// lookPast is by how much a climb must be past the tops, K: the shorter it is, the more, for a door is soon shut.
func lookPast() [looks]float64 { return [looks]float64{0.30, 0.15, 0.10, 0.08} }

// follow adds one believed temperature, and tells whether there is a new mean. A reading that is alone in its minutes is one
// at once: the next may come an hour later.
func (h *heading) follow(celsius float64, at time.Time) bool {
	alone := !h.Heard.IsZero() && at.Sub(h.Heard) >= headingWidth
	h.Heard = at
	done, ok := h.Block.add(at, headingWidth, celsius, 0)
	if ok {
		ok = h.take(done)
	}
	if alone {
		ok = h.take(h.Block) || ok
	}
	return ok
}

// take adds a block to the trail, unless it is there.
func (h *heading) take(b block) bool {
	if n := len(h.Trail); n > 0 && !b.Start.After(h.Trail[n-1].At) {
		return false
	}
	mean, _, _, _ := b.mean(driftJump)
	h.Trail = append(h.Trail, glance{sample: sample{At: b.Start, Value: mean}})
	for len(h.Trail) > 0 && b.Start.Sub(h.Trail[0].At) > headingTrail {
		h.Trail = h.Trail[1:]
	}
	h.learnNoise()
	h.look()
	return true
}

// learnNoise takes the noise of a mean from how far the middle ones of three stand off the line between the others.
func (h *heading) learnNoise() {
	if len(h.Trail) < noiseMeans {
		h.Noise = max(headingNoise, h.Noise)
		return
	}
	off := make([]float64, 0, headingTrail/headingWidth+1) // so many at most: it needs no memory
	for i := 2; i < len(h.Trail); i++ {
		off = append(off, math.Abs(h.Trail[i-1].Value-(h.Trail[i-2].Value+h.Trail[i].Value)/2))
	}
	// 1.4826 turns a median of deviations into a standard deviation; a middle less the mean of two has 1.5 times the variance.
	h.Noise = max(headingNoise, 1.4826*median(off)/math.Sqrt(1.5))
}

// mean is the mean of the trail's last minutes.
func mean(trail []glance) float64 {
	end := trail[len(trail)-1].At
	var sum, n float64
	for i := len(trail) - 1; i >= 0 && end.Sub(trail[i].At) < headingTop; i-- {
		sum, n = sum+trail[i].Value, n+1
	}
	return sum / n
}

// forget begins anew under another setpoint.
func (h *heading) forget() {
	*h = heading{Block: h.Block, Heard: h.Heard, Trail: h.Trail, Noise: h.Noise, Backs: h.Backs}
}

// look finds out whether the beer climbs past its tops.
func (h *heading) look() {
	h.Climb = climb{}
	newest := &h.Trail[len(h.Trail)-1]
	level := mean(h.Trail)
	sums := trailSums{trail: h.Trail}
	for k, over := range lookOver() { // each goes on where the one before ended
		newest.Ends[k] = level
		l, ok := sums.fit(over)
		if !ok || !h.goesSteadily(l, over) {
			continue
		}
		newest.Ends[k] = l.level
		if h.Climb.Slope == 0 && h.known() && level > h.top(0)+leastPast && l.level-headingSigmas*h.Noise*l.levelError > h.top(k)+lookPast()[k] {
			h.Climb = climb{Slope: l.slope, Level: l.level, Lasts: l.span}
		}
	}
}

// fitOver is the line through the newest means of so long.
func (h *heading) fitOver(over time.Duration) (fitted, bool) {
	sums := trailSums{trail: h.Trail}
	return sums.fit(over)
}

// goesSteadily tells whether a line over so long goes up for sure, and still does.
func (h *heading) goesSteadily(l fitted, over time.Duration) bool {
	rises := l.slope-headingSigmas*h.Noise*l.slopeError > leastClimb
	if l.span < over*3/5 || !rises {
		return false
	}
	last, ok := h.fitOver(over / 3)
	return !ok || last.slope > climbShare*l.slope-h.Noise*last.slopeError
}

// steady is the line of beer that has gone up for so long, whatever its tops; none where it has not.
func (h *heading) steady(over time.Duration) fitted {
	if len(h.Trail) == 0 {
		return fitted{}
	}
	l, ok := h.fitOver(over)
	if !ok || !h.goesSteadily(l, over) {
		return fitted{}
	}
	return l
}

// goesDown tells whether beer does for hours, as it does once cooling is back.
func (h *heading) goesDown() bool {
	l, ok := h.fitOver(headingStretch)
	return ok && l.slope < -surelyRising
}

// passes is when beer passes the limit if it climbs on, and whether that is soon. Where its tops are not known, it must have
// come as near to the limit as almost.
func (h *heading) passes(limit, setpoint, almost float64) (time.Time, bool) {
	if len(h.Trail) == 0 {
		return time.Time{}, false
	}
	newest := h.Trail[len(h.Trail)-1].At
	if c := h.Climb; c.Slope > 0 {
		ahead := max(0, (limit-c.Level)/c.Slope)
		near := h.Turns >= turnsKnown || limit-c.Level < headingReach
		if soon := ahead <= headingAhead && near; soon || !h.hangs(limit, setpoint) {
			return newest.Add(hours(min(ahead, headingAhead))), soon
		}
	}
	if h.hangs(limit, setpoint) {
		l, _ := h.fitOver(headingLag)
		return newest.Add(hours(min((limit-h.settled())/max(l.slope, leastClimb), headingAhead))), true
	}
	if h.known() {
		return time.Time{}, false
	}
	long, ok1 := h.fitOver(2 * time.Hour)
	short, ok2 := h.fitOver(time.Hour)
	if !ok1 || !ok2 || limit-long.level > almost || !h.beyond(long.level, setpoint) || h.settled() < long.level-headingAlmost/2 || min(long.slope-headingSigmas*h.Noise*long.slopeError, short.slope) < surelyRising {
		return time.Time{}, false
	}
	return newest.Add(hours(max(0, (limit-long.level)/long.slope))), true
}

// hangs tells whether beer stands for hours where its thermostat does not let it, just below the limit, whether it climbs or
// not: over all of its tops, or over the usual ones and no lower than the highest but one. A room that is hardly warmer
// brings it there slowly.
func (h *heading) hangs(limit, setpoint float64) bool {
	return h.known() && h.standsHigh(limit, setpoint) && !h.goesDown() // the line last: it costs most
}

// standsHigh tells whether it stands there, and may go down from it.
func (h *heading) standsHigh(limit, setpoint float64) bool {
	level := h.settled()
	if h.Turns < turnsKnown { // its tops may be those of the climb itself, but for where it was turned
		turnedThere := h.Turns > 0 && level < h.Turned+hangingPast
		return !turnedThere && h.stands(max(limit-hangingNoTops, setpoint+hangingOver), hangingLonger)
	}
	left := limit - level
	far := left <= hangingFar && level >= h.topButOne()-hangingBack && h.stands(h.usual()+hangingHigh, hangingLong)
	return far || left <= hangingReach && h.stands(h.top(0)+hangingPast, hangingFor)
}

// stands tells whether beer has stood over a temperature for so long.
func (h *heading) stands(least float64, since time.Duration) bool {
	return h.stood(since, func(celsius float64) bool { return celsius >= least })
}

// keptUnder tells whether beer has been under a temperature for six hours.
func (h *heading) keptUnder(limit float64) bool {
	return h.stood(headingStretch, func(celsius float64) bool { return celsius <= limit })
}

// stood tells whether there are means of so long, and all of them are so.
func (h *heading) stood(since time.Duration, so func(celsius float64) bool) bool {
	if len(h.Trail) == 0 {
		return false
	}
	newest := h.Trail[len(h.Trail)-1].At
	for i := len(h.Trail) - 1; i >= 0 && newest.Sub(h.Trail[i].At) < since; i-- {
		if !so(h.Trail[i].Value) {
			return false
		}
	}
	return newest.Sub(h.Trail[0].At) >= since
}

// settled is where the beer is by the middle one of its newest means, so that no lone one counts.
func (h *heading) settled() float64 {
	end := h.Trail[len(h.Trail)-1].At
	values := make([]float64, 0, headingTop/headingWidth+1) // so many at most
	for i := len(h.Trail) - 1; i >= 0 && (len(values) < 3 || end.Sub(h.Trail[i].At) < headingTop); i-- {
		values = append(values, h.Trail[i].Value)
	}
	return median(values)
}

// ends is where the beer is said to be now: where its climb's line ends, or else by its newest means.
func (h *heading) ends() float64 {
	if h.Climb.Slope > 0 {
		return h.Climb.Level
	}
	return h.settled()
}

// served is for how long the climb has gone on already: near the limit there is nothing left to wait for, nor for the
// next word of a probe that seldom speaks.
func (h *heading) served(left time.Duration) time.Duration {
	n := len(h.Trail)
	seldom := n >= 2 && h.Trail[n-1].At.Sub(h.Trail[n-2].At) >= headingSeldom
	if left > climbWatched && !seldom {
		return 0
	}
	return min(h.Climb.Lasts, climbWatched)
}

// waited is for how long beer that has passed a limit went up to it already. It is there by the lines of that climb, too:
// where it is not, a door is on top.
func (h *heading) waited(limit float64) time.Duration {
	if len(h.Trail) == 0 {
		return 0
	}
	var out time.Duration
	if h.ends() > limit-lastDigit {
		out = h.served(0)
	}
	for _, over := range [...]time.Duration{time.Hour, lineOver} {
		if l := h.steady(over); l.level > limit-lastDigit {
			out = max(out, min(l.span, climbWatched))
		}
	}
	return out
}

// over tells whether a climb that was told is over: the beer is back among its tops, or goes down again, by more than the
// last digit and its noise seem to do for an hour.
func (h *heading) over() bool {
	if h.known() && h.settled() < h.top(0) {
		return true
	}
	highest := math.Inf(-1)
	for _, g := range h.Trail {
		highest = max(highest, g.Value)
	}
	l, ok := h.fitOver(time.Hour)
	return ok && l.slope+h.Noise*l.slopeError < 0 && h.settled() < highest-turnLeast
}
