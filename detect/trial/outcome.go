package trial

import (
	"slices"
	"time"

	"spile/detect"
)

// outcome is what came of one run.
type outcome struct {
	class    Class
	index    int
	watched  float64 // tank-years in which every call of refermentation is false
	calls    []judged
	hopped   time.Duration
	creep    *caught  // nil: no yeast at work
	rule     []record // of the float's slope, for a threshold that is set later
	handEver bool     // the hand's rule called in a quiet run
	warmed   *limit   // cooling failed and the beer passed its allowance
	lifted   *limit   // yeast or warming brought the head pressure to the relief setting
	rested   *limit   // so did gas: left on, or the beer's own that came to rest with its head space after a closing
	sucked   *limit   // a closed tank was cooled below the air's pressure
	leak     *limit   // a leak of 2 kPa an hour or more began
}

// judged is a call and what the truth says of it.
type judged struct {
	*call
	verdict verdict
	rateIn  *bool // the true rate lay within the stated interval
	onsetIn *bool // so did the true onset
	restIn  *bool // and what was yet to ferment
}

// caught is how creep was caught.
type caught struct {
	plato  float64
	onset  time.Duration
	end    time.Duration // of the run, after the onset
	mute   bool          // no gauge could see it: the tank is open, or its valve passes gas already, or it has none
	woken  bool          // the relief valve let off what it made, and over-pressure stood then
	spile  sight
	depth  float64 // degP eaten at the call
	early  bool    // called before the onset, and not again
	asked  bool    // a gravity by hand, since the onset
	oracle sight
	hand   sight
}

// sight is when something was seen.
type sight struct {
	seen  bool
	early bool          // before there was anything to see
	delay time.Duration // after the onset
}

// limit is a limit that was crossed, and the call that came or did not.
type limit struct {
	at        time.Duration // the crossing
	asRead    time.Duration // the crossing as the thermometer shows it
	called    bool
	call      time.Duration
	predicted bool // the call came ahead of the crossing, and named its hour
}

// outcome judges a run that is over.
func (r *run) outcome(index int) outcome {
	o := outcome{class: r.class, index: index, hopped: r.hopped, watched: (r.end - r.comes).Hours() / hoursPerYear}
	for _, c := range r.calls {
		o.calls = append(o.calls, r.weigh(c))
	}
	if r.class.Gravity {
		o.rule = r.slopes()
	}
	hand, handCalled := r.byHand()
	if r.class.Quiet() {
		o.handEver = handCalled
	} else {
		o.watched = r.onset.Hours() / hoursPerYear
		o.creep = r.caught(o.calls)
		o.creep.hand = r.sight(hand, handCalled)
	}
	r.limits(&o)
	return o
}

// weigh judges one call and its evidence.
func (r *run) weigh(c *call) judged {
	j := judged{call: c, verdict: r.judge(c)}
	if c.finding.Alarm != detect.Refermentation || j.verdict != trueCall {
		return j
	}
	if rate := c.finding.Evidence.RatePlatoPerDay; rate != nil {
		now := r.truth.rate[r.truth.minute(c.at.Sub(begins()))]
		in := rate.Low <= now && now <= rate.High
		j.rateIn = &in
	}
	if f := c.finding.Evidence.Forecast; f != nil && f.LeftPlato != nil {
		rest := r.creep.Plato - eaten(r.creep, c.at.Sub(begins())-r.onset)
		in := f.LeftPlato.Low <= rest && rest <= f.LeftPlato.High
		j.restIn = &in
	}
	if span := c.finding.Evidence.Onset; span != nil {
		onset := begins().Add(r.onset)
		in := !onset.Before(span.Low) && !onset.After(span.High)
		j.onsetIn = &in
	}
	return j
}

// caught finds the call that caught the creep.
func (r *run) caught(calls []judged) *caught {
	c := &caught{plato: r.creep.Plato, onset: r.onset, end: r.end - r.onset, mute: r.mute(), woken: r.woken()}
	for _, j := range calls {
		c.asked = c.asked || j.finding.Alarm == detect.GravityCheck && j.at.Sub(begins()) >= r.onset
	}
	for _, j := range calls {
		if j.finding.Alarm != detect.Refermentation {
			continue
		}
		if j.verdict == trueCall {
			c.spile = r.sight(j.at.Sub(begins()), true)
			c.depth = eaten(r.creep, c.spile.delay)
			c.early = false
			break
		}
		c.early = true
	}
	if r.class.Gravity {
		at, ok := r.consult()
		c.oracle = r.sight(at, ok)
	}
	return c
}

// woken tells whether the relief valve lifted while the creep went on, under a call of over-pressure. Each time it lifts
// gas is gone uncounted, and a gauge begins anew: there is no more for it to see than that the tank lifts its relief.
func (r *run) woken() bool {
	at, ok := r.truth.relieved(r.onset)
	return ok && slices.ContainsFunc(r.calls, func(c *call) bool {
		return c.finding.Alarm == detect.OverPressure && !c.at.After(begins().Add(at)) && c.stands(begins().Add(at))
	})
}

// byRelief tells whether nothing but the relief valve told of the creep.
func (c *caught) byRelief() bool { return !c.spile.seen && !c.early && c.woken }

// mute tells whether the head pressure says nothing of the yeast when it wakes.
func (r *run) mute() bool {
	switch {
	case !r.class.Pressure:
		return true
	case r.class.Gas == sealed:
		return false
	}
	return r.valve == 0 || r.truth.gauge[r.truth.minute(r.onset)] > r.valve-valveMet
}

const valveMet = 1.5 // kPa below its setting, within which a valve passes gas

func (r *run) sight(at time.Duration, called bool) sight {
	if !called {
		return sight{}
	}
	return sight{seen: true, early: at < r.onset, delay: at - r.onset}
}

const leakThatMatters = 2.0 // kPa/h

// limits notes the limits that were crossed, and the calls that belong to them.
func (r *run) limits(o *outcome) {
	if at, ok := r.truth.warmed(); ok {
		o.warmed = r.limit(detect.CrashDrift, r.failed.from, at)
		o.warmed.asRead = r.warmedAsRead(at)
	}
	if at, ok := r.truth.lifted(); ok && r.class.Pressure {
		l := r.limit(detect.OverPressure, 0, at)
		if r.working(at) || r.uncooled(at) {
			o.lifted = l
		} else {
			o.rested = l
		}
	}
	if at, ok := r.truth.sucked(); ok && r.class.Pressure {
		o.sucked = r.limit(detect.Vacuum, r.setpoint[1].at, at)
	}
	if r.leaks > 0 && r.leaks/24*r.truth.gauge[r.truth.minute(r.leakFrom)] >= leakThatMatters {
		o.leak = r.limit(detect.Leak, r.leakFrom, r.leakFrom)
	}
}

// limit finds the call that stands at the crossing, or the first after it.
func (r *run) limit(a detect.Alarm, from, at time.Duration) *limit {
	l := &limit{at: at}
	for _, c := range r.calls {
		when := c.at.Sub(begins())
		if c.finding.Alarm != a || when < from || !c.stands(begins().Add(at)) || c.wonders() {
			continue
		}
		forecast := c.finding.Evidence.Forecast
		l.called, l.call = true, when
		l.predicted = when < at && forecast != nil && forecast.LimitReached != nil
		break
	}
	return l
}

// warmedAsRead is when the beer's thermometer shows the limit crossed, lag and offset included.
func (r *run) warmedAsRead(otherwise time.Duration) time.Duration {
	p, curve := r.probe(wellName), r.truth.lagged
	if p == nil {
		p, curve = r.probe(floatName), r.truth.celsius
	}
	limit := r.setpointAt(r.failed.from).celsius + allowance
	if at, ok := r.truth.first(r.failed.from, func(i int) bool { return curve[i]+p.Temperature.Offset > limit }); ok {
		return at
	}
	return otherwise
}
