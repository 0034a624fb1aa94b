package detect

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"spile/detect/beer"
)

// handGravity is what somebody read of a sample. It neither drifts nor carries hops, and it is rare: what a float cannot
// tell from its own drift in a week, two mornings of it settle.
type handGravity struct {
	At    time.Time
	Plato float64 // apparent extract
}

// hands is the third witness: the gravities that people log, and the question for one.
type hands struct {
	Since time.Time // what was read before told of a fall that is over
	Alone float     // what they show without any float: its score and its fall
	Began bool      // the verdict: then they end it, too
	Asked time.Time // arrival of the question; zero: none stands
}

// How gravities by hand are heard. A careful hand reads better, and hold points trust one more; but nobody is to be woken
// for bubbles in a sample.
const (
	handNoise  = 0.0004 * 1000 * beer.PlatoPerPoint // degP: a hydrometer is read to half a division, and as much again is the sample's (judgement)
	handStray  = 0.0021 * 1000 * beer.PlatoPerPoint // degP between two that asks for a third: a sample with gas in it, a slip of the pen
	handAgain  = 2 * time.Hour                      // within which a second one is of the same sample, and counts in its place
	handsLeast = 3                                  // without a float: before the hops, or just after, and of two mornings
	unheard    = 1e3                                // degP, noise of a float that is not there
	dayApart   = 20 * time.Hour                     // from one morning's reading to the next
)

// handGravities are those logged since a time, in the order in which they were read, without lone ones that stray.
func (t *Tank) handGravities(since time.Time) []handGravity {
	var read []handGravity
	since = Later(Later(since, t.state.Hands.Since), t.state.Book.Since)
	for _, e := range InForce(t.state.Acts.Lines) {
		if sg, ok := e.Amount("value"); ok && e.Name == "gravity" {
			read = append(read, handGravity{At: e.Time, Plato: beer.ApparentPlato(sg)})
		}
	}
	read = slices.DeleteFunc(read, func(h handGravity) bool { return h.At.Before(since) })
	slices.SortStableFunc(read, func(a, b handGravity) int { return a.At.Compare(b.At) })
	return slices.DeleteFunc(firstAstray(lastOfEach(read)), strays())
}

// lastOfEach are the last readings of each sample.
func lastOfEach(read []handGravity) []handGravity {
	out := read[:0]
	for i, h := range read {
		if i+1 == len(read) || read[i+1].At.Sub(h.At) >= handAgain {
			out = append(out, h)
		}
	}
	return out
}

// firstAstray leaves out a first reading far from those that follow and agree: a slip of the pen has nothing before it that
// shows it, and yeast that eats so much in a morning does not stand by the next.
func firstAstray(read []handGravity) []handGravity {
	apart := func(i int) bool { return math.Abs(read[i].Plato-read[i+1].Plato) > handStray }
	if len(read) >= 3 && apart(0) && !apart(1) {
		return read[1:]
	}
	return read
}

// strays tells, one after the other, which readings stray and are not borne out by the next.
func strays() func(handGravity) bool {
	var g gate
	return func(h handGravity) bool { return !g.pass(h.Plato, h.At, handStray) }
}

// readByHand weighs everything anew with a gravity that was just logged.
func (t *Tank) readByHand(e Event) []Finding {
	out := t.handAnswered(e.Arrived, "log: gravity")
	by := Reading{Tank: t.name, Quantity: Gravity, Time: e.Time, Arrived: e.Arrived}
	for _, name := range slices.Sorted(maps.Keys(t.state.Floats)) {
		f := t.state.Floats[name]
		if len(f.Points) == 0 || t.faulty(name) {
			continue
		}
		by.Probe, f.Judged = name, time.Time{}
		t.judgeCurve(f)
		out = append(out, t.judgeFloats(by)...)
	}
	return append(out, t.judgeHands(by)...)
}

// judgeCurve weighs a float's curve with what hands read meanwhile.
func (t *Tank) judgeCurve(f *float) { f.judge(t.handGravities(f.Points[0].At)...) }

// judgeHands weighs what hands read after hops by itself: a tank may have no float, or a bad one.
func (t *Tank) judgeHands(by Reading) []Finding {
	h := &t.state.Hands
	if !t.weighHands() {
		return nil
	}
	switch {
	case t.state.Verdict.Active:
		return t.endIfQuiet(by.Arrived)
	case !t.armed() || h.Alone.Score < t.scoreNeeded() || h.Alone.Fall.Depth < fallLeast:
		return nil
	}
	h.Began = true
	return t.begin(by, h.Alone.onset(by.Arrived))
}

// weighHands reckons anew what hands show without any float, and tells whether they are enough to be weighed.
func (t *Tank) weighHands() bool {
	h, hopped := &t.state.Hands, t.state.Book.Hopped
	h.Alone = float{}
	read := t.handGravities(hopped.Add(-beforeHops * floatWidth))
	if hopped.IsZero() || len(read) < handsLeast {
		return false
	}
	nobody := floatOfHands(read, hopped)
	nobody.look(read...)
	h.Alone = float{Score: nobody.Score, Fall: nobody.Fall}
	return true
}

// handsPutRight ends a verdict that hands began where a gravity was put right or struck, and neither they nor another witness
// say so any more. A tank without a float would otherwise wait for two more mornings.
func (t *Tank) handsPutRight(e Event) []Finding {
	gravity := slices.ContainsFunc(t.state.Acts.Lines, func(was Event) bool { return was.Name == "gravity" && e.means(was) })
	if !gravity || !t.state.Verdict.Active || !t.state.Hands.Began || t.state.Book.Hopped.IsZero() {
		return nil
	}
	t.weighHands()
	if t.state.Hands.Alone.Score >= t.scoreNeeded()-askedOver || t.surest() >= t.gravityNeeded()-askedOver {
		return nil
	}
	if t.makesCO2(e.Arrived) {
		return nil
	}
	return t.verdictOver(e.Arrived, "the log was put right: "+e.Name)
}

// floatOfHands is a float of which nothing was heard from the first reading by hand to the last: all that is weighed on
// its curve is theirs.
func floatOfHands(read []handGravity, hopped time.Time) *float {
	f := &float{White: unheard, Noise: noiseFloor, Hopped: hopped}
	newest := read[len(read)-1].At
	first := Later(read[0].At, newest.Add(-floatWindow*floatWidth))
	for at := first.Truncate(floatWidth); !at.After(newest); at = at.Add(floatWidth) {
		f.Points = append(f.Points, point{At: at, Plato: read[0].Plato, N: 1})
	}
	return f
}

// handsQuiet tells whether the two newest mornings by hand show no fall to speak of.
func (t *Tank) handsQuiet() bool {
	read := t.handGravities(time.Time{})
	if len(read) == 0 { // struck, all of them: nothing shows a fall
		return true
	}
	newest := read[len(read)-1]
	if others := len(t.state.Floats) + len(t.state.Balances); others > 0 && t.state.Now.Sub(newest.At) > witnessGone {
		return true
	}
	for _, h := range slices.Backward(read) {
		if newest.At.Sub(h.At) >= dayApart {
			return h.Plato-newest.Plato < handNoise
		}
	}
	return false
}

// handEvidence adds what hands read since about the onset, and before it.
func (t *Tank) handEvidence(e *Evidence, onset Span) {
	read := t.handGravities(onset.Low.Add(-beforeHops * floatWidth))
	if len(read) < 2 {
		return
	}
	before, newest := read[0], read[len(read)-1]
	for _, h := range read {
		if h.At.Before(onset.High) && h.At.Before(newest.At) {
			before = h
		}
	}
	if !newest.At.After(onset.Low) {
		return
	}
	e.Witnesses = append(e.Witnesses, fmt.Sprintf("by hand: %s at %s, %s at %s", t.gravity(beer.ApparentGravity(before.Plato)), t.clock(before.At),
		t.gravity(beer.ApparentGravity(newest.Plato)), t.clock(newest.At)))
	if rate := t.rateOfFall(&t.state.Hands.Alone); e.RatePlatoPerDay == nil && rate != nil {
		e.RatePlatoPerDay, e.CO2GramsPerLiterDay = rate, scaled(rate, t.co2PerPlato())
		e.RuledOut = append(e.RuledOut, "what hops bring, and half a division of the hydrometer: allowed for")
	}
}

// When a gravity by hand is asked for (common practice: it costs a minute in the morning).
const (
	askSooner = 5.4                 // nats before a float convinces: the trial has three questions in a year of a float alone for it
	askedOver = 3.0                 // nats under that, where the question is over
	askStands = 72 * time.Hour      // unanswered: by then the float may be out of the tank
	askHeard  = 24 * time.Hour      // since a float's last word, in which it is held to be in the beer
	askFalls  = 48                  // hours over which a fall goes on ...
	askDrift  = 2 * 24 * driftPrior // ... that is steeper than this, degP/day: what a float may drift by
)

// perhapsAsk asks for a gravity by hand where a float may see a fall and is not sure.
func (t *Tank) perhapsAsk(r Reading) []Finding {
	h, f := &t.state.Hands, t.state.Floats[r.Probe]
	needed := t.asksFrom(f)
	switch {
	case !h.Asked.IsZero():
		if t.surest() < needed-askedOver && !t.anyFloat((*float).fallsYet) {
			return t.handAnswered(r.Arrived, "the float no longer shows a fall")
		}
		return nil
	case t.state.Verdict.Active || !t.armed() || t.faulty(r.Probe) || f.Score < needed || f.Fall.Depth < fallLeast || t.contradicts(f):
		return nil
	}
	if read := t.handGravities(time.Time{}); len(read) > 0 && r.Time.Sub(read[len(read)-1].At) < dayApart {
		return nil
	}
	h.Asked = r.Arrived
	points := f.Fall.Depth / beer.PlatoPerPoint
	return []Finding{{ // no rate: nobody knows yet that it ferments
		Alarm: GravityCheck, Active: true, Priority: Low, Time: r.Arrived, Onset: f.Fall.Onset,
		Evidence: Evidence{Witnesses: []string{fmt.Sprintf("%s: gravity perhaps down %.2f degP (%.1f points) since %s, evidence %.0f, %.0f is enough",
			r.Probe, f.Fall.Depth, points, t.clock(f.Fall.Onset), f.Score, t.gravityNeeded())}},
		Summary: fmt.Sprintf("%s: %s shows gravity down %.1f points since %s, or it drifts: read a sample by hand and log it",
			t.name, r.Probe, points, t.clock(f.Fall.Onset)),
	}}
}

// asksFrom is the score from which a float asks.
func (t *Tank) asksFrom(f *float) float64 { return t.gravityNeeded() + f.asleep() - askSooner }

// anyFloat tells whether something is so of a float that is heard, and against which neither a fault nor a gauge speaks.
func (t *Tank) anyFloat(so func(*float) bool) bool {
	for name, f := range t.state.Floats {
		if !t.faulty(name) && t.state.Now.Sub(f.lastWord()) < askHeard && !t.contradicts(f) && so(f) {
			return true
		}
	}
	return false
}

// fallsYet tells whether a float goes down by more than drift could: then no fit, and no clock, takes a question back.
func (f *float) fallsYet() bool {
	slope, deviation, ok := f.recent(askFalls)
	return ok && (slope-oneSided95*deviation)*24 > askDrift
}

// stillDoubts tells whether a float that is heard shows yet what made it ask: the question stands, rather than be asked again.
func (t *Tank) stillDoubts() bool {
	return t.anyFloat(func(f *float) bool { return f.Score >= t.asksFrom(f)-askedOver || f.fallsYet() })
}

// surest is the highest score of a float.
func (t *Tank) surest() float64 {
	most := math.Inf(-1)
	for _, f := range t.state.Floats {
		most = max(most, f.Score)
	}
	return most
}

// handAnswered takes the question back.
func (t *Tank) handAnswered(at time.Time, why string) []Finding {
	h := &t.state.Hands
	if h.Asked.IsZero() {
		return nil
	}
	h.Asked = time.Time{}
	return []Finding{{Alarm: GravityCheck, Time: at, Summary: fmt.Sprintf("%s: no longer asked for a gravity by hand (%s)", t.name, why)}}
}
