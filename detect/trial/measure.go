package trial

import (
	"math"
	"slices"

	"spile/detect"
)

// Measure is one figure held against its bar.
type Measure struct {
	Name   string   `json:"measure"`
	Bar    string   `json:"bar"`
	Figure *float64 `json:"figure"` // absent: nothing to measure in this trial
	Unit   string   `json:"unit"`
	N      int      `json:"n"` // what the figure rests on
	State  State    `json:"state"`
}

// State is how a measure stands to its bar.
type State string

// The states of a measure.
const (
	Met      State = "met"
	NotMet   State = "NOT met"
	NotBuilt State = "not built"
	NoData   State = "no data"
	NoBar    State = "shown" // for comparison
)

// bar is one row of what detection must be.
type bar struct {
	name, says, unit string
	figure           func(f *field) (figure float64, n int)
	least, most      float64 // the figure lies between, both included
	perYears         float64 // above 0: most is for so many tank-years, and less of a shorter trial
	free             bool    // no bar
	unbuilt          bool    // nobody calls it yet
	rough            bool    // of few, the upper bound is not asked for: three of three is no fault
}

// bars is every measure. It is read only.
var bars = []bar{
	{name: "false refermentation calls", says: "at most 12 in 200 tank-years", unit: "calls", figure: falseRefermentations, most: 12, perYears: 200},
	{name: "other false alarms above low priority", says: "at most 12 in 200 tank-years", unit: "calls", figure: otherFalse, most: 12, perYears: 200},
	{name: "missed creep of 0.4 degP and more", says: "none of 500", unit: "missed", figure: missed},
	{name: "missed, and no gravity by hand asked for", says: "none", unit: "missed", figure: unasked, free: true},
	{name: "gravity by hand asked for in vain, with a float", says: "none", unit: "a year", figure: askedInVain, free: true},
	{name: "missed slow creep", says: "none", unit: "missed", figure: missedSlow, free: true},
	{name: "creep let off by the relief, under over-pressure", says: "none", unit: "creeps", figure: byRelief, free: true},
	{name: "delay, sealed with pressure, median", says: "under 10 h", unit: "h", figure: delayMedian(isSealedCreep), most: 10},
	{name: "delay, sealed with pressure, worst", says: "under 30 h", unit: "h", figure: delayWorst(isSealedCreep), most: 30},
	{name: "delay, sealed, slow creep, median", says: "under 24 h", unit: "h", figure: delayMedian(isSealedSlow), most: 24},
	{name: "delay, sealed, slow creep, worst", says: "under 48 h", unit: "h", figure: delayWorst(isSealedSlow), most: 48},
	{name: "delay, gravity alone or vented, times the oracle's", says: "at most 1.6", unit: "times", figure: oracleRatio(isWhole), most: 1.6},
	{name: "the same, slow creep", says: "at most 2.0", unit: "times", figure: oracleRatio(isSlow), most: 2},
	{name: "degP fermented at the call, sealed, median", says: "under 0.05", unit: "degP", figure: depthMedian, most: 0.05},
	{name: "cooling fails: called within 20 min of the limit", says: "always", unit: "share", figure: driftInTime, least: 1, most: 1},
	{name: "the same, as the thermometer shows it", says: "none", unit: "share", figure: driftAsRead, free: true},
	{name: "cooling fails: called ahead, with the hour", says: "half of the times", unit: "share", figure: driftAhead, least: 0.5, most: 1},
	{name: "crash-drift with no cooling failed", says: "never", unit: "calls", figure: driftFalse},
	{name: "over-pressure 30 min before the relief setting", says: "always", unit: "share", figure: reliefInTime, least: 1, most: 1},
	{name: "the same, by gas left on or coming to rest", says: "none", unit: "share", figure: restInTime, free: true},
	{name: "vacuum before 0 kPa when cooled", says: "always", unit: "share", figure: vacuumInTime, least: 1, most: 1},
	{name: "leak of 2 kPa/h and more within 12 h", says: "always", unit: "share", figure: leakInTime, least: 1, most: 1, unbuilt: true},
	{name: "leak called where nothing leaks", says: "never", unit: "calls", figure: leakFalse, unbuilt: true},
	{name: "true rate within the stated 95 % interval", says: "0.90 to 0.99", unit: "share", figure: rateWithin, least: 0.90, most: 0.99, rough: true},
	{name: "true rest of the creep within the forecast", says: "0.90 and more", unit: "share", figure: restWithin, least: 0.90, most: 1},
	{name: "true onset within the stated 95 % interval", says: "0.90 to 0.99", unit: "share", figure: onsetWithin, least: 0.90, most: 0.99, rough: true},
}

// fewest is how many it takes before a share can be held against an upper bound below one.
const fewest = 100

// field is all that was run.
type field struct{ outcomes []outcome }

// watched is the tank-years in which no yeast works: the quiet runs, and the others before their onset.
func (f *field) watched() float64 {
	years := 0.0
	for _, o := range f.outcomes {
		years += o.watched
	}
	return years
}

// measureAll holds the outcomes against every bar.
func measureAll(outcomes []outcome) []Measure {
	f := &field{outcomes}
	leaks := slices.ContainsFunc(outcomes, func(o outcome) bool { return o.count(isAlarm(detect.Leak)) > 0 })
	var out []Measure
	for _, b := range bars {
		m := b.measure(f)
		if b.unbuilt && !leaks {
			m.State = NotBuilt
		}
		out = append(out, m)
	}
	return out
}

func (b bar) measure(f *field) Measure {
	figure, n := b.figure(f)
	m := Measure{Name: b.name, Bar: b.says, Unit: b.unit, N: n, State: NoData}
	if n == 0 {
		return m
	}
	m.Figure = rounded(figure)
	most := b.most
	if b.perYears > 0 {
		most = math.Floor(b.most*f.watched()/b.perYears + 1e-9)
	}
	if b.rough && n < fewest {
		most = 1
	}
	switch {
	case b.free:
		m.State = NoBar
	case figure < b.least || figure > most:
		m.State = NotMet
	default:
		m.State = Met
	}
	return m
}
