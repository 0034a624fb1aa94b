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
	Calls    []Call // every call of every run, and every creep that was missed
}

// Row is what a class shows. Hours are from the very onset of the creep.
type Row struct {
	Class      string   `json:"class"`
	Says       string   `json:"says"`
	Runs       int      `json:"runs"`
	Years      float64  `json:"tank_years"` // in which every call of refermentation is false
	False      int      `json:"false_refermentation"`
	Other      int      `json:"other_false"`
	Creeps     int      `json:"creeps"`
	Missed     int      `json:"missed"`
	Early      int      `json:"called_before_onset"`
	Delay      *Spread  `json:"delay_hours,omitempty"`
	Depth      *Spread  `json:"depth_plato,omitempty"`
	Oracle     *Spread  `json:"oracle_delay_hours,omitempty"`
	OracleMiss int      `json:"oracle_missed"`
	Slope      *Spread  `json:"slope_delay_hours,omitempty"`
	SlopeMiss  int      `json:"slope_missed"`
	Hand       *Spread  `json:"hand_delay_hours,omitempty"`
	HandMiss   int      `json:"hand_missed"`
	HandFalse  int      `json:"hand_false"`
	RateIn     *float64 `json:"rate_within,omitempty"`
	OnsetIn    *float64 `json:"onset_within,omitempty"`
}

// Spread is how a figure spreads.
type Spread struct {
	N      int     `json:"n"`
	Median float64 `json:"median"`
	P90    float64 `json:"p90"`
	Worst  float64 `json:"worst"`
}

// spread is nil of nothing.
func spread(values []float64) *Spread {
	if len(values) == 0 {
		return nil
	}
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	return &Spread{N: n, Median: (sorted[(n-1)/2] + sorted[n/2]) / 2, P90: sorted[(9*(n-1)+9)/10], Worst: sorted[n-1]}
}

// Call is one call, or one creep that was missed, for those who tune.
type Call struct {
	Class     string          `json:"class"`
	Index     int             `json:"index"`
	Alarm     detect.Alarm    `json:"alarm"`
	Probe     string          `json:"probe,omitempty"`
	Priority  detect.Priority `json:"priority,omitempty"`
	Verdict   string          `json:"verdict"` // true, false, not judged, missed
	Time      time.Time       `json:"time"`    // of a miss: of its onset
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

// tally gathers sights.
type tally struct {
	hours  []float64
	missed int
}

func (t *tally) add(s sight) {
	switch {
	case !s.seen:
		t.missed++
	case !s.early:
		t.hours = append(t.hours, s.delay.Hours())
	}
}

func newRow(c Class, of []outcome, threshold float64, hasThreshold bool) Row {
	row := Row{Class: c.Name, Says: c.Says, Runs: len(of)}
	var spile, oracle, slope, hand tally
	var depth []float64
	var rate, onset shares
	for _, o := range of {
		row.Years += o.watched
		row.False += o.count(isFalseRefermentation)
		row.Other += o.count(isOtherFalse)
		for _, j := range o.calls {
			rate.add(j.rateIn)
			onset.add(j.onsetIn)
		}
		if o.handEver {
			row.HandFalse++
		}
		if o.creep == nil {
			continue
		}
		row.Creeps++
		hand.add(o.creep.hand)
		if c.Gravity {
			oracle.add(o.creep.oracle)
			if hasThreshold {
				slope.add(o.bySlope(threshold))
			}
		}
		if o.creep.early {
			row.Early++
			continue
		}
		spile.add(o.creep.spile)
		if o.creep.spile.seen {
			depth = append(depth, o.creep.depth)
		}
	}
	row.Missed, row.OracleMiss, row.SlopeMiss, row.HandMiss = spile.missed, oracle.missed, slope.missed, hand.missed
	row.Delay, row.Depth, row.Oracle, row.Slope, row.Hand = spread(spile.hours), spread(depth), spread(oracle.hours), spread(slope.hours), spread(hand.hours)
	row.RateIn, row.OnsetIn = rate.rounded(), onset.rounded()
	return row
}

// shares counts how often something held.
type shares struct{ n, held int }

func (s *shares) add(held *bool) {
	if held == nil {
		return
	}
	s.n++
	if *held {
		s.held++
	}
}

func (s *shares) share() (share float64, n int) { return float64(s.held) / float64(max(s.n, 1)), s.n }

func (s *shares) rounded() *float64 {
	if s.n == 0 {
		return nil
	}
	share, _ := s.share()
	return rounded(share)
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

// rows are the run's calls, and its miss.
func (o outcome) rows(order int) []Call {
	var out []Call
	for _, j := range o.calls {
		c := Call{
			Class: o.class.Name, Index: o.index, Alarm: j.finding.Alarm, Probe: j.finding.Probe, Priority: j.finding.Priority,
			Verdict: string(j.verdict), Time: j.at, Hours: tenth(j.at.Sub(begins())), AfterHops: tenth(j.at.Sub(begins()) - o.hopped),
			RateIn: j.rateIn, OnsetIn: j.onsetIn, Summary: j.finding.Summary, Witnesses: j.finding.Evidence.Witnesses, order: order,
		}
		if o.creep != nil {
			c.Creep = rounded(o.creep.plato)
			if j.finding.Alarm == detect.Refermentation {
				c.add(o.creep, j.at.Sub(begins()))
			}
		}
		out = append(out, c)
	}
	if o.creep != nil && !o.creep.spile.seen && !o.creep.early {
		c := Call{
			Class: o.class.Name, Index: o.index, Alarm: detect.Refermentation, Verdict: "missed", Time: begins().Add(o.creep.onset), Hours: tenth(o.creep.onset),
			AfterHops: tenth(o.creep.onset - o.hopped), Creep: rounded(o.creep.plato), order: order,
		}
		if o.creep.oracle.seen {
			c.Oracle = rounded(o.creep.oracle.delay.Hours())
		}
		out = append(out, c)
	}
	return out
}

// add puts the creep's figures on a call of refermentation.
func (c *Call) add(creep *caught, at time.Duration) {
	c.Delay = rounded((at - creep.onset).Hours())
	if creep.spile.seen && creep.spile.delay == at-creep.onset {
		c.Depth = rounded(creep.depth)
	}
	if creep.oracle.seen {
		c.Oracle = rounded(creep.oracle.delay.Hours())
	}
}

func tenth(d time.Duration) float64 { return math.Round(d.Hours()*10) / 10 }

func rounded(v float64) *float64 {
	v = math.Round(v*1000) / 1000
	return &v
}
