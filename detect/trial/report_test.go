package trial

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestSpread(t *testing.T) {
	t.Parallel()
	assert.Nil(t, spread(nil))
	assert.Equal(t, &Spread{N: 1, Median: 3, P90: 3, Worst: 3}, spread([]float64{3}))
	assert.Equal(t, &Spread{N: 4, Median: 2.5, P90: 4, Worst: 4}, spread([]float64{4, 1, 3, 2}))
	assert.Equal(t, &Spread{N: 11, Median: 6, P90: 10, Worst: 11}, spread([]float64{11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1}))
}

// The slope's threshold lets through what its false-call rate allows, and no more.
func TestSlopeThresholdAllowsItsFalseCalls(t *testing.T) {
	t.Parallel()
	quiet := Class{Name: "q", Gravity: true}
	var of []outcome
	for i := range 100 { // twenty tank-years: two may call
		of = append(of, outcome{class: quiet, watched: 0.2, rule: []record{{fall: float64(i)}}})
	}
	threshold, ok := slopeThreshold(of)
	require.True(t, ok)
	called := 0
	for _, o := range of {
		o.creep = &caught{}
		if o.bySlope(threshold).seen {
			called++
		}
	}
	assert.Equal(t, 2, called)
	_, ok = slopeThreshold(nil)
	assert.False(t, ok)
}

func TestSlopeIsLeastSquares(t *testing.T) {
	t.Parallel()
	var curve []hour
	for i, sg := range []float64{1.012, 1.0119, 1.0121, 1.0117} {
		curve = append(curve, hour{time.Duration(i) * 6 * time.Hour, sg})
	}
	// By hand: x is 0, 1/4, 1/2, 3/4 day; Sxy = -0.0000875, Sxx = 0.3125.
	assert.InDelta(t, -0.00028, slope(curve), 1e-9)
}

func TestHourlyMedians(t *testing.T) {
	t.Parallel()
	var readings []detect.Reading
	for i, v := range []float64{1.010, 1.030, 1.012, 1.011, 1.013} { // the wild one stands in the first hour
		readings = append(readings, detect.Reading{Time: begins().Add(time.Duration(i) * 20 * time.Minute), Value: v})
	}
	got := hourlyMedians(readings)
	require.Len(t, got, 2)
	assert.Equal(t, hour{0, 1.012}, got[0])
	assert.Equal(t, time.Hour, got[1].at)
	assert.InDelta(t, 1.012, got[1].sg, 1e-12)
	assert.Empty(t, hourlyMedians(nil))
}

// caughtAfter is an outcome of a class's creep called after so many hours; below zero: never.
func caughtAfter(class string, hours, oracle float64) outcome {
	c, _ := find(class)
	o := outcome{class: c, watched: 0.01, creep: &caught{plato: 0.5, end: 200 * time.Hour}}
	o.creep.mute = c.Gas != sealed
	o.creep.oracle = sight{seen: true, delay: time.Duration(oracle * float64(time.Hour))}
	if hours >= 0 {
		o.creep.spile = sight{seen: true, delay: time.Duration(hours * float64(time.Hour))}
		o.creep.depth = hours / 200
	}
	return o
}

// askedOf is a creep that was missed, but for the question.
func askedOf(class string) outcome {
	o := caughtAfter(class, -1, 5)
	o.creep.asked = true
	return o
}

// relieved is a creep of which nothing but the relief valve told.
func relieved() outcome {
	o := caughtAfter("creep-gauge", -1, 5)
	o.creep.woken = true
	return o
}

func falseCalls(n int, a detect.Alarm, p detect.Priority) outcome {
	c, _ := find("quiet")
	o := outcome{class: c, watched: 20}
	for range n {
		o.calls = append(o.calls, judged{call: &call{at: begins(), finding: detect.Finding{Alarm: a, Priority: p}}, verdict: falseCall})
	}
	return o
}

func within(held, of int) outcome {
	c, _ := find("creep")
	o := outcome{class: c, watched: 0.01, creep: &caught{early: true}}
	for i := range of {
		in := i < held
		o.calls = append(o.calls, judged{
			call: &call{at: begins(), finding: detect.Finding{Alarm: detect.Refermentation}}, verdict: trueCall, rateIn: &in,
		})
	}
	return o
}

func TestMeasuresHoldTheirBars(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		measure string
		of      []outcome
		figure  float64
		state   State
	}{
		{"one false call in 20 years", "false refermentation calls", []outcome{falseCalls(1, detect.Refermentation, detect.High)}, 1, Met},
		{"two in 20 years", "false refermentation calls", []outcome{falseCalls(2, detect.Refermentation, detect.High)}, 2, NotMet},
		{"other alarms are no refermentation", "false refermentation calls", []outcome{falseCalls(2, detect.Leak, detect.High)}, 0, Met},
		{"other alarms", "other false alarms above low priority", []outcome{falseCalls(2, detect.Vacuum, detect.Critical)}, 2, NotMet},
		{"low priority wakes nobody", "other false alarms above low priority", []outcome{falseCalls(9, detect.ProbeFault, detect.Low)}, 0, Met},
		{"a miss", "missed creep of 0.4 degP and more", []outcome{caughtAfter("creep", -1, 5), caughtAfter("creep", 5, 5)}, 1, NotMet},
		{"let off by the relief", "missed creep of 0.4 degP and more", []outcome{relieved(), caughtAfter("creep", 5, 5)}, 0, Met},
		{"and counted by itself", "creep let off by the relief, under over-pressure", []outcome{relieved(), caughtAfter("creep", 5, 5)}, 1, NoBar},
		{"a slow miss is another matter", "missed creep of 0.4 degP and more", []outcome{caughtAfter("creep", 5, 5), caughtAfter("creep-slow", -1, 5)}, 0, Met},
		{"a fast median", "delay, sealed with pressure, median", []outcome{caughtAfter("creep", 8, 5), caughtAfter("creep-gauge", 9, 5)}, 8.5, Met},
		{"vented tanks are another matter", "delay, sealed with pressure, median", []outcome{caughtAfter("creep", 8, 5), caughtAfter("creep-float", 90, 5)}, 8, Met},
		{"a miss lasts to the end", "delay, sealed with pressure, worst", []outcome{caughtAfter("creep", 8, 5), caughtAfter("creep", -1, 5)}, 200, NotMet},
		{"near the oracle", "delay, gravity alone or vented, times the oracle's", []outcome{caughtAfter("creep-float", 30, 20), caughtAfter("creep-spunded", 30, 20)}, 1.5, Met},
		{"far from it", "the same, slow creep", []outcome{caughtAfter("creep-float-slow", 50, 20)}, 2.5, NotMet},
		{"little eaten", "degP fermented at the call, sealed, median", []outcome{caughtAfter("creep", 8, 5)}, 0.04, Met},
		{"few intervals may all hold", "true rate within the stated 95 % interval", []outcome{within(20, 20)}, 1, Met},
		{"few may not fail", "true rate within the stated 95 % interval", []outcome{within(15, 20)}, 0.75, NotMet},
		{"of many, all is too many", "true rate within the stated 95 % interval", []outcome{within(200, 200)}, 1, NotMet},
		{"most of many", "true rate within the stated 95 % interval", []outcome{within(190, 200)}, 0.95, Met},
		{"a miss of which nobody was told", "missed, and no gravity by hand asked for", []outcome{caughtAfter("creep-float", -1, 5), askedOf("creep-float")}, 1, NoBar},
		{"questions of a float", "gravity by hand asked for in vain, with a float", []outcome{
			falseCalls(30, detect.GravityCheck, detect.Low), caughtAfter("creep-float", 5, 5)}, 1.5, NoBar},
		{"a slow miss is shown", "missed slow creep", []outcome{caughtAfter("creep-slow", -1, 5)}, 1, NoBar},
		{"a leak detector there is none", "leak called where nothing leaks", []outcome{falseCalls(0, detect.Leak, detect.Medium)}, 0, NotBuilt},
		{"there is one", "leak called where nothing leaks", []outcome{falseCalls(1, detect.Leak, detect.Medium)}, 1, NotMet},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := measured(t, c.of, c.measure)
			require.NotNil(t, m.Figure)
			assert.InDelta(t, c.figure, *m.Figure, 1e-9)
			assert.Equal(t, c.state, m.State)
		})
	}
}

func measured(t *testing.T, of []outcome, name string) Measure {
	t.Helper()
	for _, m := range measureAll(of) {
		if m.Name == name {
			return m
		}
	}
	require.Fail(t, "no such measure", name)
	return Measure{}
}

func TestMeasuresOfLimits(t *testing.T) {
	t.Parallel()
	warm, _ := find("warming")
	at := 50 * time.Hour
	of := []outcome{
		{class: warm, warmed: &limit{at: at, asRead: at, called: true, call: at - time.Hour, predicted: true}},
		{class: warm, warmed: &limit{at: at, asRead: at, called: true, call: at + 20*time.Minute}},
		{class: warm, warmed: &limit{at: at, asRead: at + 2*time.Hour, called: true, call: at + time.Hour}},
		{class: warm, warmed: &limit{at: at, asRead: at}},
		{class: warm, lifted: &limit{at: at, called: true, call: at - 31*time.Minute}, sucked: &limit{at: at, called: true, call: at}},
		{class: warm, lifted: &limit{at: at, called: true, call: at - 29*time.Minute}},
		{class: warm, rested: &limit{at: at, called: true, call: at - 29*time.Minute}},
	}
	for name, want := range map[string]float64{
		"cooling fails: called within 20 min of the limit": 0.5,
		"the same, as the thermometer shows it":            0.75,
		"cooling fails: called ahead, with the hour":       0.25,
		"over-pressure 30 min before the relief setting":   0.5,
		"the same, by gas left on or coming to rest":       0,
		"vacuum before 0 kPa when cooled":                  0,
	} {
		m := measured(t, of, name)
		require.NotNil(t, m.Figure, name)
		assert.InDelta(t, want, *m.Figure, 1e-9, name)
	}
}

func TestNothingToMeasureIsNoFault(t *testing.T) {
	t.Parallel()
	for _, m := range measureAll(nil) {
		assert.Contains(t, []State{NoData, NotBuilt}, m.State, m.Name)
		assert.Nil(t, m.Figure, m.Name)
	}
}

// What was crossed without a call in time stands among the calls, so that it can be looked at.
func TestBrokenLimitsAreListed(t *testing.T) {
	t.Parallel()
	at := 50 * time.Hour
	o := outcome{
		warmed: &limit{at: at, called: true, call: at + time.Hour},
		lifted: &limit{at: at, called: true, call: at - time.Hour},
		sucked: &limit{at: at},
		leak:   &limit{at: at, called: true, call: at + 11*time.Hour},
	}
	rows := o.rows(0)
	require.Len(t, rows, 2)
	assert.Equal(t, detect.CrashDrift, rows[0].Alarm)
	assert.Equal(t, "late", rows[0].Verdict)
	assert.InDelta(t, 1, *rows[0].Delay, 1e-9)
	assert.Equal(t, detect.Vacuum, rows[1].Alarm)
	assert.Equal(t, "missed", rows[1].Verdict)
	assert.Equal(t, 50.0, rows[1].Hours)
}

// small is a report with one of everything.
func small() Report {
	return newReport(Options{Seed: 7}, []outcome{
		falseCalls(1, detect.Vacuum, detect.Critical), caughtAfter("creep", 8, 5), caughtAfter("creep", -1, 5), caughtAfter("creep-float", 30, 20),
	})
}

func TestReportForPeople(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	require.NoError(t, small().WriteText(&out))
	text := out.String()
	assert.Contains(t, text, "seed 7")
	assert.Contains(t, text, "1 of 2")
	assert.Contains(t, text, "8.0 / 8, 1 missed")
	assert.Contains(t, text, "NOT met")
	for _, line := range strings.Split(text, "\n") {
		assert.Equal(t, strings.TrimRight(line, " "), line, "no blanks at the end")
		assert.NotContains(t, line, "\t")
	}
}

func TestReportForPrograms(t *testing.T) {
	t.Parallel()
	for _, calls := range []bool{false, true} {
		var out bytes.Buffer
		require.NoError(t, small().WriteNDJSON(&out, calls))
		count := map[string]int{}
		for line := range strings.Lines(out.String()) {
			var fields map[string]any
			require.NoError(t, json.Unmarshal([]byte(line), &fields), line)
			count[fields["line"].(string)]++
		}
		assert.Equal(t, 3, count["class"])
		assert.Equal(t, len(bars), count["measure"])
		assert.Equal(t, calls, count["call"] == 2, "the false call and the miss")
	}
}
