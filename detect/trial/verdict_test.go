package trial

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

// written is a run whose truth is written by hand: a hundred hours, minute by minute.
func written(class Class, with func(*run), gauge, celsius func(hour float64) float64) *run {
	r := &run{scene: &scene{class: class, end: 100 * time.Hour}, silent: map[string]time.Duration{}}
	r.told.ReliefKPa = 100
	r.setpoint = []change{{celsius: 14}}
	r.truth.scene = r.scene
	for i := range 100 * 60 {
		h := float64(i+1) / 60
		r.truth.gauge = append(r.truth.gauge, gauge(h))
		r.truth.celsius = append(r.truth.celsius, celsius(h))
		r.truth.lagged = append(r.truth.lagged, celsius(h))
		r.truth.rate = append(r.truth.rate, 0)
	}
	if with != nil {
		with(r)
	}
	return r
}

func steady(v float64) func(float64) float64 { return func(float64) float64 { return v } }

// rising is level until an hour, and then rises by so much an hour.
func rising(level, from, slope float64) func(float64) float64 {
	return func(h float64) float64 { return level + max(0, h-from)*slope }
}

func TestJudgesEachAlarm(t *testing.T) {
	t.Parallel()
	quiet, creep := Class{Name: "q", Gravity: true, Pressure: true}, Class{Name: "c", Creep: wholeCreep, Gravity: true, Pressure: true}
	wakes := func(r *run) { r.onset = 40 * time.Hour }
	fails := func(r *run) { r.failed = stretch{40 * time.Hour, forGood} }
	wide := func(r *run) { fails(r); r.scene.tank.Cooling.Band = 0.8 }
	crash := func(r *run) { r.setpoint = append(r.setpoint, change{at: 40 * time.Hour, celsius: 2}) }
	slowly := func(r *run) {
		r.setpoint = append(r.setpoint, change{at: 40 * time.Hour, celsius: 2, over: 10 * time.Hour})
	}
	for _, c := range []struct {
		name           string
		alarm          detect.Alarm
		class          Class
		with           func(*run)
		gauge, celsius func(float64) float64
		at             float64
		want           verdict
	}{
		{"yeast at work", detect.Refermentation, creep, wakes, steady(50), steady(14), 45, trueCall},
		{"yeast not yet at work", detect.Refermentation, creep, wakes, steady(50), steady(14), 39, falseCall},
		{"no yeast at all", detect.Refermentation, quiet, nil, steady(50), steady(14), 45, falseCall},
		{"pressure rises by yeast", detect.PressureRise, creep, wakes, steady(50), steady(14), 45, trueCall},
		{"pressure rises by gas nobody logged", detect.PressureRise, quiet, func(r *run) { r.gasOn = []stretch{{40 * time.Hour, 50 * time.Hour}} },
			steady(50), steady(14), 45, trueCall},
		{"pressure rises by nothing", detect.PressureRise, quiet, nil, steady(50), steady(14), 45, falseCall},
		{"beer over its limit", detect.CrashDrift, quiet, fails, steady(50), rising(14, 40, 0.2), 46, trueCall},
		{"under it, on its way", detect.CrashDrift, quiet, fails, steady(50), rising(14, 40, 0.05), 41, trueCall},
		{"under it, and never there", detect.CrashDrift, quiet, wide, steady(50), rising(14, 40, 0.01), 41, falseCall},
		{"under it, but over what its thermostat lets it come to", detect.CrashDrift, quiet, fails, steady(50), rising(14, 40, 0.01), 41, trueCall},
		{"cooling is back, and it has hardly turned", detect.CrashDrift, quiet, func(r *run) { r.failed = stretch{40 * time.Hour, 60 * time.Hour} },
			steady(50), rising(14, 40, 0.02), 61, trueCall},
		{"cooling is back for long", detect.CrashDrift, quiet, func(r *run) { r.failed = stretch{40 * time.Hour, 60 * time.Hour} },
			steady(50), func(h float64) float64 { return rising(14, 40, 0.02)(h) - max(0, h-60) }, 64, falseCall},
		{"before the cooling failed", detect.CrashDrift, quiet, fails, steady(50), rising(14, 40, 0.2), 39, falseCall},
		{"warm, but cooling works", detect.CrashDrift, quiet, crash, steady(50), steady(14), 46, falseCall},
		{"at the relief setting", detect.OverPressure, quiet, nil, steady(95), steady(14), 46, trueCall},
		{"soon at it", detect.OverPressure, quiet, nil, rising(60, 40, 20), steady(14), 41, trueCall},
		{"far from it", detect.OverPressure, quiet, nil, steady(60), steady(14), 41, falseCall},
		{"cooled to a vacuum", detect.Vacuum, quiet, crash, rising(10, 40, -5), steady(4), 41, trueCall},
		{"cooled to no vacuum", detect.Vacuum, quiet, crash, steady(10), steady(4), 41, falseCall},
		{"cooled to a vacuum days later", detect.Vacuum, quiet, crash, rising(60, 40, -1.3), steady(4), 41, falseCall},
		{"for the thermostat took its time", detect.Vacuum, quiet, slowly, rising(60, 40, -1.3), steady(4), 41, trueCall},
		{"open to the air", detect.Vacuum, quiet, nil, steady(0), steady(14), 41, falseCall},
		{"a vacuum whatever the reason", detect.Vacuum, quiet, nil, steady(-3), steady(14), 41, trueCall},
		{"it leaks", detect.Leak, quiet, func(r *run) { r.leaks, r.leakFrom = 1, 40*time.Hour }, steady(50), steady(14), 41, trueCall},
		{"it does not leak yet", detect.Leak, quiet, func(r *run) { r.leaks, r.leakFrom = 1, 42*time.Hour }, steady(50), steady(14), 41, falseCall},
		{"nothing leaks", detect.Leak, quiet, nil, steady(50), steady(14), 41, falseCall},
		{"near freezing", detect.FreezeRisk, quiet, nil, steady(50), steady(-1), 41, trueCall},
		{"far from freezing", detect.FreezeRisk, quiet, nil, steady(50), steady(2), 41, falseCall},
		{"still beer after days of gravity", detect.NotFinished, quiet, nil, steady(50), steady(14), 60, falseCall},
		{"still beer on the first day", detect.NotFinished, quiet, nil, steady(50), steady(14), 10, falseCall},
		{"no such alarm here", detect.LinkLost, quiet, nil, steady(50), steady(14), 60, falseCall},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := written(c.class, c.with, c.gauge, c.celsius)
			got := r.judge(&call{at: begins().Add(hours(c.at)), finding: detect.Finding{Alarm: c.alarm}})
			assert.Equal(t, c.want, got)
		})
	}
}

func TestJudgesProbes(t *testing.T) {
	t.Parallel()
	r := written(Class{Gravity: true}, func(r *run) { r.stuck = stretch{20 * time.Hour, 30 * time.Hour} }, steady(0), steady(14))
	r.draw = newDraw(1, "probes", 0)
	r.scene.tank.Probes = append(r.scene.tank.Probes, r.drawFloat())
	r.probe(floatName).Interval = time.Hour
	says := func(a detect.Alarm, at time.Duration) verdict {
		return r.judge(&call{at: begins().Add(at), finding: detect.Finding{Alarm: a, Probe: floatName}})
	}
	assert.Equal(t, trueCall, says(detect.ProbeFault, 25*time.Hour))
	assert.Equal(t, falseCall, says(detect.ProbeFault, 10*time.Hour))
	r.silent[floatName] = 3 * time.Hour
	assert.Equal(t, trueCall, says(detect.ProbeSilent, 25*time.Hour))
	r.silent[floatName] = 2 * time.Hour // one message lost, of a probe that sends each hour
	assert.Equal(t, falseCall, says(detect.ProbeSilent, 25*time.Hour))
}

// The bar is for what yeast and warming do; gas that comes to rest, or is left on, is shown beside it.
func TestWhatLiftsTheReliefIsToldApart(t *testing.T) {
	t.Parallel()
	creep, quiet := Class{Pressure: true, Creep: wholeCreep}, Class{Pressure: true}
	for name, test := range map[string]struct {
		class  Class
		with   func(*run)
		lifted bool
	}{
		"yeast":                       {creep, func(r *run) { r.onset = 40 * time.Hour }, true},
		"yeast that wakes later":      {creep, func(r *run) { r.onset = 70 * time.Hour }, false},
		"cooling that has failed":     {quiet, func(r *run) { r.failed = stretch{40 * time.Hour, 45 * time.Hour} }, true},
		"cooling that fails later":    {quiet, func(r *run) { r.failed = stretch{70 * time.Hour, forGood} }, false},
		"gas that comes to rest only": {quiet, nil, false},
	} {
		var o outcome
		written(test.class, test.with, rising(80, 50, 2), steady(14)).limits(&o)
		assert.Equal(t, test.lifted, o.lifted != nil, name)
		assert.Equal(t, test.lifted, o.rested == nil, name)
	}
}

// Where the last pressure went is asked about when it is gone. Who waits for a call of the leak has not had one.
func TestAQuestionIsNoCallOfALeak(t *testing.T) {
	t.Parallel()
	for priority, called := range map[detect.Priority]bool{detect.Low: false, detect.Medium: true, "": true} {
		r := written(Class{Pressure: true}, func(r *run) { r.leaks, r.leakFrom = 4, 40*time.Hour }, steady(50), steady(14))
		r.calls = []*call{{at: begins().Add(50 * time.Hour), finding: detect.Finding{Alarm: detect.Leak, Priority: priority}}}
		var o outcome
		r.limits(&o)
		assert.Equal(t, called, o.leak.called, priority)
	}
}

func TestTruthFindsCrossings(t *testing.T) {
	t.Parallel()
	r := written(Class{}, func(r *run) { r.failed = stretch{40 * time.Hour, forGood} }, rising(80, 50, 2), rising(14, 40, 0.1))
	at, ok := r.truth.warmed()
	assert.True(t, ok)
	assert.InDelta(t, 50, at.Hours(), 0.05)
	at, ok = r.truth.lifted()
	assert.True(t, ok)
	assert.InDelta(t, 60, at.Hours(), 0.05)
	_, ok = r.truth.sucked()
	assert.False(t, ok, "nothing was cooled")

	lifts := written(Class{}, func(r *run) {
		r.onset = 35 * time.Hour
		r.calls = []*call{{at: begins().Add(50 * time.Hour), finding: detect.Finding{Alarm: detect.OverPressure}}}
	}, func(h float64) float64 { return math.Mod(h, 10) + 93 }, steady(14))
	at, ok = lifts.truth.relieved(35 * time.Hour)
	assert.True(t, ok)
	assert.InDelta(t, 40, at.Hours(), 0.05)
	assert.False(t, lifts.woken(), "the call came after the relief first lifted")
	lifts.calls[0].at = begins().Add(36 * time.Hour)
	assert.True(t, lifts.woken())

	byHand := written(Class{}, nil, func(h float64) float64 {
		if h > 50 {
			return 110
		}
		return 60
	}, steady(14))
	_, ok = byHand.truth.lifted()
	assert.False(t, ok, "gas put on by hand comes to the relief setting at once")

	sucked := written(Class{}, func(r *run) {
		r.setpoint = append(r.setpoint, change{at: 20 * time.Hour, celsius: 2})
	}, rising(10, 30, -1), steady(4))
	at, ok = sucked.truth.sucked()
	assert.True(t, ok)
	assert.InDelta(t, 40, at.Hours(), 0.05, "0 kPa, not the vacuum after it")

	before := written(Class{}, func(r *run) {
		r.setpoint = append(r.setpoint, change{at: 50 * time.Hour, celsius: 2})
	}, rising(10, 30, -1), steady(4))
	_, ok = before.truth.sucked()
	assert.False(t, ok, "it was there before it was cooled")
}
