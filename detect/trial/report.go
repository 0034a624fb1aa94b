package trial

import (
	"math"
	"slices"
	"time"

	"spile/detect"
)

// Report is what a trial found.
type Report struct {
	Years    float64 // of the quiet classes, as they were run
	Runs     int
	Seed     uint64
	Classes  []Row
	Measures []Measure
	Calls    []Call // every call of every run, and all that was missed
}

// Call is one call, or something that should have been called and was not, or not in time: for those who tune.
type Call struct {
	Class     string          `json:"class"`
	Index     int             `json:"index"`
	Alarm     detect.Alarm    `json:"alarm"`
	Probe     string          `json:"probe,omitempty"`
	Priority  detect.Priority `json:"priority,omitempty"`
	Verdict   string          `json:"verdict"` // true, false, not judged, missed, late
	Time      time.Time       `json:"time"`    // of what was missed or late: the onset, the crossing
	Hours     float64         `json:"hours"`   // the same, after the run's begin
	AfterHops float64         `json:"after_hops_hours"`
	Delay     *float64        `json:"delay_hours,omitempty"`
	Oracle    *float64        `json:"oracle_delay_hours,omitempty"`
	Depth     *float64        `json:"depth_plato,omitempty"`
	Creep     *float64        `json:"creep_plato,omitempty"`
	RateIn    *bool           `json:"rate_within,omitempty"`
	OnsetIn   *bool           `json:"onset_within,omitempty"`
	Summary   string          `json:"summary,omitempty"`
	Witnesses []string        `json:"witnesses,omitempty"`

	order int
}

// newReport counts.
func newReport(o Options, outcomes []outcome) Report {
	r := Report{Seed: o.Seed, Runs: len(outcomes)}
	threshold, ok := slopeThreshold(outcomes)
	by := map[string][]outcome{}
	for _, out := range outcomes {
		by[out.class.Name] = append(by[out.class.Name], out)
		if out.class.Quiet() {
			r.Years += out.watched
		}
	}
	for i, c := range classes {
		of := by[c.Name]
		if len(of) == 0 {
			continue
		}
		r.Classes = append(r.Classes, newRow(c, of, threshold, ok))
		for _, out := range of {
			r.Calls = append(r.Calls, out.rows(i)...)
		}
	}
	sortCalls(r.Calls)
	r.Measures = measureAll(outcomes)
	return r
}

// slopeThreshold is the fall per day at which the slope's rule comes to the false calls of falseCallsPerYear on the quiet
// runs: as many of them as that allows lie above it.
func slopeThreshold(outcomes []outcome) (float64, bool) {
	var most []float64
	years := 0.0
	for _, o := range outcomes {
		if o.class.Quiet() && len(o.rule) > 0 {
			most = append(most, o.rule[len(o.rule)-1].fall)
			years += o.watched
		}
	}
	if len(most) == 0 {
		return 0, false
	}
	slices.Sort(most)
	allowed := min(int(falseCallsPerYear*years+1e-9), len(most)-1)
	return most[len(most)-1-allowed], true
}

// bySlope is what the rule sees at a threshold.
func (o outcome) bySlope(threshold float64) sight {
	for _, r := range o.rule {
		if r.fall > threshold {
			return sight{seen: true, early: r.at < o.creep.onset, delay: r.at - o.creep.onset}
		}
	}
	return sight{}
}

// count counts a run's calls of a kind.
func (o outcome) count(is func(judged) bool) int {
	n := 0
	for _, j := range o.calls {
		if is(j) {
			n++
		}
	}
	return n
}

func isFalseRefermentation(j judged) bool {
	return j.finding.Alarm == detect.Refermentation && j.verdict == falseCall
}

func isOtherFalse(j judged) bool {
	return j.finding.Alarm != detect.Refermentation && j.verdict == falseCall && j.finding.Priority.AtLeast(detect.Medium)
}

// rows are the run's calls, and what was missed or called too late.
func (o outcome) rows(order int) []Call {
	var out []Call
	for _, j := range o.calls {
		c := o.row(order, j.finding.Alarm, string(j.verdict), j.at.Sub(begins()))
		c.Probe, c.Priority, c.RateIn, c.OnsetIn = j.finding.Probe, j.finding.Priority, j.rateIn, j.onsetIn
		c.Summary, c.Witnesses = j.finding.Summary, j.finding.Evidence.Witnesses
		if o.creep != nil && c.Alarm == detect.Refermentation {
			c.add(o.creep, j.at.Sub(begins()))
		}
		out = append(out, c)
	}
	if o.creep != nil && !o.creep.spile.seen && !o.creep.early && !o.creep.byRelief() {
		c := o.row(order, detect.Refermentation, missedCall, o.creep.onset)
		c.Oracle = o.creep.oracle.hours()
		out = append(out, c)
	}
	return append(out, o.broken(order)...)
}

// The words for what should have been called, beside a call's verdicts.
const (
	missedCall = "missed"
	lateCall   = "late"
)

// broken are the limits that were crossed without a call in time. Their delay is that of the call after the crossing.
func (o outcome) broken(order int) []Call {
	var out []Call
	for _, x := range []struct {
		limit *limit
		alarm detect.Alarm
		held  func(*limit) bool
	}{
		{o.warmed, detect.CrashDrift, heldDrift}, {o.lifted, detect.OverPressure, heldRelief},
		{o.rested, detect.OverPressure, heldRelief}, {o.sucked, detect.Vacuum, heldVacuum}, {o.leak, detect.Leak, heldLeak},
	} {
		if x.limit == nil || x.held(x.limit) {
			continue
		}
		c := o.row(order, x.alarm, missedCall, x.limit.at)
		if x.limit.called {
			c.Verdict, c.Delay = lateCall, rounded((x.limit.call - x.limit.at).Hours())
		}
		out = append(out, c)
	}
	return out
}

// row begins a line about the run at a time.
func (o outcome) row(order int, a detect.Alarm, verdict string, at time.Duration) Call {
	c := Call{
		Class: o.class.Name, Index: o.index, Alarm: a, Verdict: verdict,
		Time: begins().Add(at), Hours: tenth(at), AfterHops: tenth(at - o.hopped), order: order,
	}
	if o.creep != nil {
		c.Creep = rounded(o.creep.plato)
	}
	return c
}

// add puts the creep's figures on a call of refermentation.
func (c *Call) add(creep *caught, at time.Duration) {
	c.Delay = rounded((at - creep.onset).Hours())
	if creep.spile.seen && creep.spile.delay == at-creep.onset {
		c.Depth = rounded(creep.depth)
	}
	c.Oracle = creep.oracle.hours()
}

// hours is the delay, nil where nothing was seen.
func (s sight) hours() *float64 {
	if !s.seen {
		return nil
	}
	return rounded(s.delay.Hours())
}

func tenth(d time.Duration) float64 { return math.Round(d.Hours()*10) / 10 }

func rounded(v float64) *float64 {
	v = math.Round(v*1000) / 1000
	return &v
}
