package cellarsim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
)

func TestAFrontGoesStraightStaysAndGoesBack(t *testing.T) {
	low := Front{Begins: 10 * time.Hour, Lasts: 8 * time.Hour, KPa: -2, Returns: 30 * time.Hour}
	high := Front{Begins: 10 * time.Hour, Lasts: 8 * time.Hour, KPa: 2, Returns: 30 * time.Hour}
	for hour, want := range map[float64]float64{
		-5: 0, 0: 0, 10: 0, 12: -0.5, 14: -1, 17: -1.75, 18: -2, 20: -2, 21: -2,
		51: -2 * math.Exp(-1), 81: -2 * math.Exp(-2), 1021: 0,
	} {
		assert.InDelta(t, want, low.at(hours(hour)), 1e-9, "hour %g of a low", hour)
		assert.InDelta(t, -want, high.at(hours(hour)), 1e-9, "hour %g of a high", hour)
	}
	assert.Equal(t, -1.0, Front{KPa: -1}.at(0), "all at once")
	assert.Equal(t, -1.0, Front{KPa: -1}.at(1000*time.Hour), "and for good")
	assert.Equal(t, -1.5, Front{Begins: -hours(6), Lasts: hours(8), KPa: -2}.at(0), "under way as the cellar begins")
}

// It never jumps, never overshoots, and is monotone each way.
func TestAFrontGoesOnceEachWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawnFront(t)
		f.Lasts = max(f.Lasts, time.Hour)
		deepest := f.Begins + f.Lasts
		before := f.at(f.Begins - time.Hour)
		for at := f.Begins; at < deepest+100*time.Hour; at += time.Minute {
			now := f.at(at)
			further := (now - before) * math.Copysign(1, f.KPa)
			switch {
			case math.Abs(now) > math.Abs(f.KPa)+1e-9:
				t.Fatalf("%v overshoots to %g at %s", f, now, at)
			case at <= deepest && further < -1e-9 || at > deepest+time.Minute && further > 1e-9:
				t.Fatalf("%v turns at %s", f, at)
			case math.Abs(now-before) > math.Abs(f.KPa)/50:
				t.Fatalf("%v jumps from %g to %g at %s", f, before, now, at)
			}
			before = now
		}
	})
}

func drawnFront(t *rapid.T) Front {
	return Front{
		Begins:  time.Duration(rapid.Int64Range(int64(-50*time.Hour), int64(200*time.Hour)).Draw(t, "begins")),
		Lasts:   time.Duration(rapid.Int64Range(0, int64(30*time.Hour)).Draw(t, "lasts")),
		KPa:     rapid.Float64Range(-3, 3).Draw(t, "kPa"),
		Returns: time.Duration(rapid.Int64Range(int64(time.Hour), int64(80*time.Hour)).Draw(t, "returns")),
	}
}

// Fronts add to the wander and take nothing from its randomness; before the first one the barometer is, to the last bit,
// as it would be without any.
func TestFrontsAddToTheWander(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := Weather{MeanKPa: rapid.Float64Range(80, 104).Draw(t, "mean"), Sigma: rapid.Float64Range(0, 2).Draw(t, "sigma")}
		plain := newBarometer(w, seeded(4))
		none := w
		none.Fronts = []Front{}
		still := newBarometer(none, seeded(4))
		w.Fronts = rapid.SliceOfN(rapid.Custom(drawnFront), 1, 4).Draw(t, "fronts")
		passed := newBarometer(w, seeded(4))
		for at := time.Duration(0); at < 240*time.Hour; at += 7 * time.Minute {
			want, sum, begun := plain.at(at), 0.0, false
			for _, f := range w.Fronts {
				sum += f.at(at)
				begun = begun || at >= f.Begins
			}
			got := passed.at(at)
			if still.at(at) != want || !begun && got != want {
				t.Fatalf("at %s the barometer is moved by no front", at)
			}
			if math.Abs(got-want-sum) > 1e-9 {
				t.Fatalf("at %s the barometer is moved by %g, the fronts say %g", at, got-want, sum)
			}
		}
	})
}

// A closed tank does not feel the air: its gauge against the air goes up by what a low takes off, one that was closed at
// the factory shows nothing, and nothing happens to the beer. In an open tank it is the other way round.
func TestALowLiftsTheGaugeOfAClosedTank(t *testing.T) {
	low := Front{Begins: 2 * time.Hour, Lasts: 10 * time.Hour, KPa: -2, Returns: 30 * time.Hour}
	end := func(weather Weather, open bool) map[string]float64 {
		tank := still()
		tank.Open, tank.Probes = open, []Probe{exact("head"), exact("sealed")}
		tank.Probes[1].Pressure.SealedRef = true
		if open {
			tank.GaugeKPa, tank.DissolvedGramsPerLiter = 0, 3.5
		}
		out := map[string]float64{}
		c, err := New(Plan{Start: monday(), Tanks: []Tank{tank}, Weather: weather}, seeded(2))
		require.NoError(t, err)
		require.NoError(t, c.Each(monday().Add(14*time.Hour), func(a Arrival) error {
			for _, r := range a.Readings {
				if r.Quantity == detect.Pressure {
					out[r.Probe] = r.Value
				}
			}
			return nil
		}))
		truth, _ := c.Truth(tank.Name)
		out["grams"] = truth.DissolvedGramsPerLiter
		return out
	}
	before, passed := end(Weather{}, false), end(Weather{Fronts: []Front{low}}, false)
	assert.InDelta(t, before["head"]+2, passed["head"], 1e-6)
	assert.InDelta(t, before["sealed"], passed["sealed"], 1e-6)
	assert.Equal(t, before["grams"], passed["grams"])

	before, passed = end(Weather{}, true), end(Weather{Fronts: []Front{low}}, true)
	assert.InDelta(t, before["head"], passed["head"], 1e-6)
	assert.InDelta(t, before["sealed"]-2, passed["sealed"], 1e-6)
}

// exact is a gauge without errors.
func exact(name string) Probe {
	return Probe{Name: name, Interval: time.Minute, Pressure: &Sense{}}
}
