package alert_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// secondWeeks is how many weeks of each kind are played.
const secondWeeks = 4

// eachWeek plays weeks of a kind, each with what is done in it.
func eachWeek(t *testing.T, float, gauge bool, done, judge func(*testing.T, *secondWeek)) {
	t.Helper()
	for seed := range uint64(secondWeeks) {
		t.Run(fmt.Sprint("week ", seed), func(t *testing.T) {
			t.Parallel()
			w := newSecondWeek(seed, float, gauge)
			if done != nil {
				done(t, w)
			}
			w.play()
			judge(t, w)
		})
	}
}

// In the second cellar nobody is woken while no yeast works, whatever else is done to the tank.
func TestTheSecondCellarSleeps(t *testing.T) {
	silent := func(t *testing.T, w *secondWeek) { w.onlyCalls(t) }
	for name, c := range map[string]struct {
		float, gauge bool
		done         func(*testing.T, *secondWeek)
	}{
		"left alone":          {true, true, nil},
		"left alone, a gauge": {false, true, nil},
		"left alone, a float": {true, false, nil},
		"under a valve": {true, true, func(_ *testing.T, w *secondWeek) {
			at := w.between(20, 70)
			w.does(w.hopped+130, func() { w.valve = outside + at; w.topUp(at) })
		}},
		"its gas topped up, and logged, and again, and not": {true, true, func(_ *testing.T, w *secondWeek) {
			one, two, kPa := w.later(6, 70), w.later(71, 140), nearest(w.between(60, 80), 1)
			w.does(one, func() { w.topUp(kPa) })
			w.logs(one, "gas", map[string]float64{"pressure": kPa})
			w.does(two, func() { w.topUp(kPa) })
		}},
		"stirred by somebody who says nothing": {true, true, func(_ *testing.T, w *secondWeek) {
			w.does(w.later(20, 120), func() { w.stirred = w.minute + int(w.between(20, 400)) })
		}},
		"samples that nobody logs": {true, true, func(_ *testing.T, w *secondWeek) {
			for range 3 {
				liters := w.between(0.5, 3)
				w.does(w.later(6, 140), func() { w.head += liters; w.beer -= liters })
			}
		}},
	} {
		t.Run(name, func(t *testing.T) { eachWeek(t, c.float, c.gauge, c.done, silent) })
	}
}

// Creep in a closed tank is called early, and not before it is there.
func TestTheSecondCellarIsWokenByYeast(t *testing.T) {
	for name, c := range map[string]struct {
		float       bool
		least, most float64 // degP in all
		median      float64 // h from the very onset
		worst       float64
	}{
		"float and gauge": {true, 0.4, 1.5, 10, 30},
		"a gauge alone":   {false, 0.4, 1.5, 10, 30},
		"slowly":          {true, 0.25, 0.45, 24, 48},
	} {
		t.Run(name, func(t *testing.T) {
			delays := make(chan float64, secondWeeks)
			t.Run("weeks", func(t *testing.T) {
				eachWeek(t, c.float, true, func(_ *testing.T, w *secondWeek) { w.creep = w.between(c.least, c.most) }, func(t *testing.T, w *secondWeek) {
					w.onlyCalls(t, detect.Refermentation, detect.OverPressure)
					h, called := w.first(detect.Refermentation)
					require.True(t, called, "%.2f degP went unseen", w.eaten)
					assert.Positive(t, h-w.woken)
					assert.Less(t, h-w.woken, c.worst)
					delays <- h - w.woken
				})
			})
			close(delays)
			var sorted []float64
			for d := range delays {
				sorted = append(sorted, d)
			}
			slices.Sort(sorted)
			t.Logf("called after %.1f h", sorted)
			require.Len(t, sorted, secondWeeks)
			assert.Less(t, sorted[secondWeeks/2], c.median)
		})
	}
}

// Beer that rests close under its relief is blown off again and again by a creep, and now and then by nothing but warmth: a
// gauge alone tells the one from the other.
func TestTheSecondCellarsReliefLifts(t *testing.T) {
	underRelief := func(w *secondWeek) {
		gauge := w.between(97, 102)
		w.shuts = outside + w.between(85, 97)
		w.does(w.hopped+150, func() {
			w.topUp(gauge)
			w.grams = holds(w.celsius) * (outside + gauge)
		})
	}
	t.Run("by creep", func(t *testing.T) {
		eachWeek(t, false, true, func(_ *testing.T, w *secondWeek) { underRelief(w); w.creep = w.between(0.4, 1.5) }, func(t *testing.T, w *secondWeek) {
			w.onlyCalls(t, detect.Refermentation, detect.OverPressure)
			h, called := w.first(detect.Refermentation)
			require.True(t, called, "%.2f degP went unseen", w.eaten)
			assert.Positive(t, h-w.woken)
			assert.Less(t, h-w.woken, 30.0)
		})
	})
	t.Run("by the thermostat", func(t *testing.T) {
		eachWeek(t, false, true, func(_ *testing.T, w *secondWeek) { underRelief(w) }, func(t *testing.T, w *secondWeek) {
			w.onlyCalls(t, detect.OverPressure)
		})
	})
	t.Run("by warmth", func(t *testing.T) {
		eachWeek(t, false, true, func(_ *testing.T, w *secondWeek) { underRelief(w); w.failed = w.later(30, 80) }, func(t *testing.T, w *secondWeek) {
			w.onlyCalls(t, detect.OverPressure, detect.CrashDrift)
		})
	})
}

// A float alone sees most of it within two days, and calls nothing before.
func TestTheSecondCellarsFloatIsHeard(t *testing.T) {
	called := make(chan float64, secondWeeks)
	t.Run("weeks", func(t *testing.T) {
		eachWeek(t, true, false, func(_ *testing.T, w *secondWeek) { w.creep = w.between(0.6, 1.5) }, func(t *testing.T, w *secondWeek) {
			w.onlyCalls(t, detect.Refermentation)
			if h, ok := w.first(detect.Refermentation); ok {
				assert.Positive(t, h-w.woken)
				called <- h - w.woken
			}
		})
	})
	close(called)
	seen := 0
	for h := range called {
		t.Logf("called after %.1f h", h)
		seen++
	}
	assert.GreaterOrEqual(t, seen, secondWeeks-1)
}

// Beer that warms is called as that, before or soon after it passes its setpoint, and not as yeast.
func TestTheSecondCellarWarms(t *testing.T) {
	eachWeek(t, true, true, func(_ *testing.T, w *secondWeek) { w.failed = w.later(30, 80) }, func(t *testing.T, w *secondWeek) {
		w.onlyCalls(t, detect.CrashDrift, detect.OverPressure)
		require.Positive(t, w.drifted, "it gets warm")
		h, ok := w.first(detect.CrashDrift)
		require.True(t, ok)
		assert.Greater(t, h, float64(w.failed)/60, "never for the thermostat's ups and downs")
		assert.Less(t, h, float64(w.drifted+20)/60)
	})
}

// A closed tank that is sent cold is called before its head goes below the air's pressure, and not as yeast.
func TestTheSecondCellarGoesCold(t *testing.T) {
	eachWeek(t, true, true, func(_ *testing.T, w *secondWeek) {
		at := w.later(60, 110)
		w.logs(at, "crash", map[string]float64{"setpoint": 2})
		w.does(at, func() { w.setpoint = 2 })
	}, func(t *testing.T, w *secondWeek) {
		w.onlyCalls(t, detect.Vacuum)
		if w.sucked > 0 {
			h, ok := w.first(detect.Vacuum)
			require.True(t, ok)
			assert.LessOrEqual(t, h, float64(w.sucked)/60)
		}
	})
}

// A slow leak is called within half a day, as a leak.
func TestTheSecondCellarLeaks(t *testing.T) {
	eachWeek(t, true, true, func(_ *testing.T, w *secondWeek) {
		at, rate := w.hopped+48*60, w.between(3, 6) // kPa an hour at first, of the head alone
		w.does(at, func() {
			w.leak = rate / 60 * w.head / 1000 / (gasConstant * (w.celsius + 273.15)) / (w.kPa() - w.barometer)
		})
	}, func(t *testing.T, w *secondWeek) {
		w.onlyCalls(t, detect.Leak, detect.Vacuum)
		h, called := w.first(detect.Leak)
		require.True(t, called)
		took := h - float64(w.hopped)/60 - 48
		t.Logf("called after %.1f h", took)
		assert.Positive(t, took)
		assert.Less(t, took, 12.0)
	})
}
