package trial

import "slices"

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
	Relieved   int      `json:"told_by_over_pressure"`
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
		if o.creep.byRelief() {
			row.Relieved++
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
