package trial

import (
	"slices"
	"time"

	"spile/detect"
)

// Which runs a figure rests on.
func isSealedCreep(c Class) bool {
	return c.Gas == sealed && c.Pressure && c.Creep == wholeCreep && c.Name != "creep-handled" // hands on the gas restart every balance
}
func isSealedSlow(c Class) bool { return c.Gas == sealed && c.Pressure && c.Creep == slowCreep }
func isWhole(c Class) bool      { return c.Creep == wholeCreep }
func isSlow(c Class) bool       { return c.Creep == slowCreep }

func isAlarm(a detect.Alarm) func(judged) bool {
	return func(j judged) bool { return j.finding.Alarm == a }
}

func isFalse(a detect.Alarm) func(judged) bool {
	return func(j judged) bool { return j.finding.Alarm == a && j.verdict == falseCall }
}

// count sums a kind of calls over all runs.
func (f *field) count(is func(judged) bool) (figure float64, n int) {
	total := 0
	for _, o := range f.outcomes {
		total += o.count(is)
	}
	return float64(total), len(f.outcomes)
}

func falseRefermentations(f *field) (figure float64, n int) { return f.count(isFalseRefermentation) }
func driftFalse(f *field) (figure float64, n int)           { return f.count(isFalse(detect.CrashDrift)) }
func leakFalse(f *field) (figure float64, n int)            { return f.count(isFalse(detect.Leak)) }

// otherFalse rests on the runs in which no yeast works.
func otherFalse(f *field) (figure float64, n int) {
	quiet := &field{}
	for _, o := range f.outcomes {
		if o.class.Quiet() {
			quiet.outcomes = append(quiet.outcomes, o)
		}
	}
	return quiet.count(isOtherFalse)
}

// creeps lists what came of the creeps of some classes, but for those that were called too early, and those that the
// relief valve let off.
func (f *field) creeps(of func(Class) bool) []*caught {
	var out []*caught
	for _, o := range f.outcomes {
		if o.creep != nil && of(o.class) && !o.creep.early && !o.creep.byRelief() {
			out = append(out, o.creep)
		}
	}
	return out
}

func missed(f *field) (figure float64, n int) {
	return misses(f.creeps(isWhole))
}

func missedSlow(f *field) (figure float64, n int) {
	return misses(f.creeps(isSlow))
}

// unasked are the missed creeps of which not even a gravity by hand was asked for.
func unasked(f *field) (figure float64, n int) {
	of := f.creeps(isWhole)
	for _, c := range of {
		if !c.spile.seen && !c.asked {
			figure++
		}
	}
	return figure, len(of)
}

// askedInVain is how often a gravity by hand is asked for in a year of a float in beer that stands.
func askedInVain(f *field) (figure float64, n int) {
	asked, years := 0, 0.0
	for _, o := range f.outcomes {
		if o.class.Gravity && o.class.Quiet() {
			asked += o.count(isAlarm(detect.GravityCheck))
			years += o.watched
			n++
		}
	}
	return float64(asked) / max(years, 1e-9), n
}

// byRelief are the creeps that are told as over-pressure and as nothing else.
func byRelief(f *field) (figure float64, n int) {
	for _, o := range f.outcomes {
		if o.creep == nil {
			continue
		}
		if n++; o.creep.byRelief() {
			figure++
		}
	}
	return figure, n
}

func misses(of []*caught) (figure float64, n int) {
	for _, c := range of {
		if !c.spile.seen {
			figure++
		}
	}
	return figure, len(of)
}

// hoursSeen gives delays. What was never seen counts as seen at the end of its run, which is no overstatement.
func hoursSeen(of []*caught, by func(*caught) sight) []float64 {
	var out []float64
	for _, c := range of {
		switch s := by(c); {
		case !s.seen:
			out = append(out, c.end.Hours())
		case !s.early:
			out = append(out, s.delay.Hours())
		}
	}
	return out
}

func bySpile(c *caught) sight  { return c.spile }
func byOracle(c *caught) sight { return c.oracle }

func delayMedian(of func(Class) bool) func(*field) (float64, int) {
	return func(f *field) (float64, int) { return median(hoursSeen(f.creeps(of), bySpile)) }
}

func delayWorst(of func(Class) bool) func(*field) (float64, int) {
	return func(f *field) (float64, int) {
		hours := hoursSeen(f.creeps(of), bySpile)
		if len(hours) == 0 {
			return 0, 0
		}
		return slices.Max(hours), len(hours)
	}
}

func median(values []float64) (figure float64, n int) {
	if s := spread(values); s != nil {
		return s.Median, s.N
	}
	return 0, 0
}

// oracleRatio is the median delay over the oracle's, on the same runs: those in which gravity is the only witness. Where one
// of the two misses more than half, its median is that of the runs' ends: then the ratio says how long runs are.
func oracleRatio(of func(Class) bool) func(*field) (float64, int) {
	return func(f *field) (float64, int) {
		alone := slices.DeleteFunc(f.creeps(of), func(c *caught) bool { return !c.mute })
		ours, n := median(hoursSeen(alone, bySpile))
		theirs, _ := median(hoursSeen(alone, byOracle))
		if theirs <= 0 {
			return 0, 0
		}
		return ours / theirs, n
	}
}

func depthMedian(f *field) (figure float64, n int) {
	var depth []float64
	for _, c := range f.creeps(isSealedCreep) {
		if c.spile.seen {
			depth = append(depth, c.depth)
		}
	}
	return median(depth)
}

// limits is the share of the crossings of one limit of which something is true.
func (f *field) limits(of func(outcome) *limit, is func(*limit) bool) (figure float64, n int) {
	var s shares
	for _, o := range f.outcomes {
		if l := of(o); l != nil {
			held := is(l)
			s.add(&held)
		}
	}
	return s.share()
}

// What a call must keep to.
const (
	driftMargin  = 20 * time.Minute // after the limit
	reliefMargin = 30 * time.Minute // before it
	leakMargin   = 12 * time.Hour   // after the leak begins
)

func driftInTime(f *field) (figure float64, n int)  { return f.limits(outcome.warming, heldDrift) }
func reliefInTime(f *field) (figure float64, n int) { return f.limits(outcome.lifting, heldRelief) }
func restInTime(f *field) (figure float64, n int)   { return f.limits(outcome.resting, heldRelief) }
func vacuumInTime(f *field) (figure float64, n int) { return f.limits(outcome.sucking, heldVacuum) }
func leakInTime(f *field) (figure float64, n int)   { return f.limits(outcome.leaking, heldLeak) }

func heldDrift(l *limit) bool  { return l.called && l.call <= l.at+driftMargin }
func heldRelief(l *limit) bool { return l.called && l.call <= l.at-reliefMargin }
func heldVacuum(l *limit) bool { return l.called && l.call < l.at }
func heldLeak(l *limit) bool   { return l.called && l.call <= l.at+leakMargin }

func driftAsRead(f *field) (figure float64, n int) {
	return f.limits(outcome.warming, func(l *limit) bool { return l.called && l.call <= max(l.at, l.asRead)+driftMargin })
}

func driftAhead(f *field) (figure float64, n int) {
	return f.limits(outcome.warming, func(l *limit) bool { return l.called && l.predicted })
}

func (o outcome) warming() *limit { return o.warmed }
func (o outcome) lifting() *limit { return o.lifted }
func (o outcome) resting() *limit { return o.rested }
func (o outcome) sucking() *limit { return o.sucked }
func (o outcome) leaking() *limit { return o.leak }

// evidence is the share of true calls whose interval held the truth.
func (f *field) evidence(of func(judged) *bool) (figure float64, n int) {
	var s shares
	for _, o := range f.outcomes {
		for _, j := range o.calls {
			s.add(of(j))
		}
	}
	return s.share()
}

func rateWithin(f *field) (figure float64, n int) {
	return f.evidence(func(j judged) *bool { return j.rateIn })
}

func restWithin(f *field) (figure float64, n int) {
	return f.evidence(func(j judged) *bool { return j.restIn })
}

func onsetWithin(f *field) (figure float64, n int) {
	return f.evidence(func(j judged) *bool { return j.onsetIn })
}
