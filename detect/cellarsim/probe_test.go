package cellarsim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"spile/detect"
)

// heard runs a cellar of one tank and collects what its probes said, by quantity.
func heard(t *testing.T, tank Tank, lasts time.Duration) map[detect.Quantity][]detect.Reading {
	t.Helper()
	all := map[detect.Quantity][]detect.Reading{}
	require.NoError(t, alone(t, tank).Each(monday().Add(lasts), func(a Arrival) error {
		for _, r := range a.Readings {
			all[r.Quantity] = append(all[r.Quantity], r)
		}
		return nil
	}))
	return all
}

// values takes the figures out of readings.
func values(readings []detect.Reading) []float64 {
	out := make([]float64, len(readings))
	for i, r := range readings {
		out[i] = r.Value
	}
	return out
}

// watched is a still tank with one probe.
func watched(p Probe, script ...Act) Tank {
	tank := still(script...)
	tank.Probes = []Probe{p}
	return tank
}

func TestWhiteNoiseAndOffset(t *testing.T) {
	p := Probe{Name: "p", Interval: time.Minute, Pressure: &Sense{Noise: 0.4, Offset: 1.5}}
	got := values(heard(t, watched(p), 14*24*time.Hour)[detect.Pressure])
	require.Len(t, got, 14*24*60)
	mean, sigma := stat.MeanStdDev(got, nil)
	n := math.Sqrt(float64(len(got)))
	assert.InDelta(t, 81.5, mean, 4*0.4/n)
	assert.InDelta(t, 0.4, sigma, 4*0.4/(n*math.Sqrt2))
	assert.InDelta(t, 0, stat.Correlation(got[1:], got[:len(got)-1], nil), 4/n)
}

func TestWanderIsAFirstOrderAutoregression(t *testing.T) {
	p := Probe{Name: "p", Interval: 10 * time.Minute, Temperature: &Sense{Wander: 0.3, WanderLag: time.Hour}}
	got := values(heard(t, watched(p), 400*24*time.Hour)[detect.Temperature])
	_, sigma := stat.MeanStdDev(got, nil)
	assert.InDelta(t, 0.3, sigma, 0.01)
	for _, lag := range []int{1, 3, 6} {
		want := math.Exp(-float64(lag) / 6)
		assert.InDelta(t, want, stat.Correlation(got[lag:], got[:len(got)-lag], nil), 0.03, "lag %d", lag)
	}
}

func TestDriftResolutionAndWildValues(t *testing.T) {
	t.Run("drift", func(t *testing.T) {
		p := Probe{Name: "p", Interval: time.Hour, Temperature: &Sense{DriftPerDay: 0.1}}
		got := values(heard(t, watched(p), 10*24*time.Hour+time.Minute)[detect.Temperature])
		assert.InDelta(t, 15.4, got[len(got)-1], 1e-9)
	})
	t.Run("resolution", func(t *testing.T) {
		p := Probe{Name: "p", Interval: time.Minute, Pressure: &Sense{Noise: 3, Resolution: 0.1}}
		for _, v := range values(heard(t, watched(p), 24*time.Hour)[detect.Pressure]) {
			assert.Equal(t, math.Round(v*10)/10, v, "the nearest double to one decimal")
		}
	})
	t.Run("wild", func(t *testing.T) {
		p := Probe{Name: "p", Interval: time.Minute, Pressure: &Sense{WildShare: 0.02, WildSize: 50}}
		all := values(heard(t, watched(p), 30*24*time.Hour)[detect.Pressure])
		wild := 0
		for _, v := range all {
			if math.Abs(v-80) > 0.01 {
				wild++
				assert.LessOrEqual(t, math.Abs(v-80), 50.0)
			}
		}
		assert.InDelta(t, 0.02, float64(wild)/float64(len(all)), 0.004)
	})
}

func TestFloatErrors(t *testing.T) {
	sg := gravityOf(3.6)
	float := func(f Float) Probe {
		return Probe{Name: "hyd", Interval: 10 * time.Minute, Gravity: &Sense{}, Float: f}
	}
	t.Run("temperature coefficient", func(t *testing.T) {
		tank := watched(float(Float{PerKelvin: -1e-4, ReferenceC: 14.4}))
		tank.Cooling = Cooling{Room: 4.4, RoomLag: time.Hour}
		got := values(heard(t, tank, 48*time.Hour)[detect.Gravity])
		assert.InDelta(t, sg+0.001, got[len(got)-1], 1e-6)
	})
	t.Run("a step that relaxes", func(t *testing.T) {
		tank := watched(float(Float{}), Act{At: 2 * time.Hour, Do: FloatStep{Probe: "hyd", SG: 0.002, Relax: 10 * time.Hour}})
		got := values(heard(t, tank, 24*time.Hour)[detect.Gravity])
		assert.InDelta(t, sg, got[6*2-1], 1e-9)
		assert.InDelta(t, sg+0.002*math.Exp(-10.0/10), got[6*12], 1e-6)
	})
	t.Run("a step that stays", func(t *testing.T) {
		tank := watched(float(Float{}), Act{Do: FloatStep{Probe: "hyd", SG: -0.003}})
		got := values(heard(t, tank, 24*time.Hour)[detect.Gravity])
		assert.InDelta(t, sg-0.003, got[len(got)-1], 1e-9)
	})
	t.Run("hops shift every float, and no two alike", func(t *testing.T) {
		tank := still(Act{At: time.Hour, Do: Hop{Grams: 9000}})
		one, two := float(Float{HopStep: 0.002}), float(Float{HopStep: 0.002})
		two.Name = "hyd-2"
		tank.Probes = []Probe{one, two}
		var steps []floatStep
		c := alone(t, tank)
		require.NoError(t, c.Each(monday().Add(2*time.Hour), func(Arrival) error { return nil }))
		for _, s := range c.rigs[0].sensors {
			require.Len(t, s.steps, 1)
			steps = append(steps, s.steps...)
			assert.GreaterOrEqual(t, s.steps[0].relax, usualRelaxShort)
			assert.LessOrEqual(t, s.steps[0].relax, usualRelaxLong)
			assert.NotZero(t, s.steps[0].sg)
		}
		assert.NotEqual(t, steps[0].sg, steps[1].sg)
	})
}

func TestAProbeSticksAndFallsSilent(t *testing.T) {
	p := Probe{Name: "p", Interval: time.Minute, Pressure: &Sense{Noise: 1}}
	tank := watched(p,
		Act{At: time.Hour, Do: ProbeSticks{Probe: "p", For: time.Hour}},
		Act{At: 3 * time.Hour, Do: ProbeFallsSilent{Probe: "p", For: time.Hour}},
		Act{At: 5 * time.Hour, Do: ProbeSticks{Probe: "p"}},
	)
	perHour := map[int]map[float64]bool{}
	count := map[int]int{}
	for _, r := range heard(t, tank, 8*time.Hour)[detect.Pressure] {
		h := int(r.Time.Sub(monday()).Hours())
		if perHour[h] == nil {
			perHour[h] = map[float64]bool{}
		}
		perHour[h][r.Value] = true
		count[h]++
	}
	assert.Equal(t, map[int]int{0: 60, 1: 60, 2: 60, 4: 60, 5: 60, 6: 60, 7: 60}, count)
	assert.Len(t, perHour[0], 60)
	assert.Len(t, perHour[1], 1)
	assert.Len(t, perHour[2], 60)
	assert.Len(t, perHour[7], 1)
}

func TestGaugesSeeTheWeatherByTheirReference(t *testing.T) {
	vented := Probe{Name: "vented", Interval: time.Hour, Pressure: &Sense{}}
	closed := Probe{Name: "closed", Interval: time.Hour, Pressure: &Sense{SealedRef: true}}
	spread := func(tank Tank) map[string]float64 {
		tank.Probes = []Probe{vented, closed}
		c, err := New(Plan{Start: monday(), Tanks: []Tank{tank}, Weather: Weather{Sigma: 1}}, seeded(5))
		require.NoError(t, err)
		seen := map[string][]float64{}
		require.NoError(t, c.Each(monday().Add(20*24*time.Hour), func(a Arrival) error {
			for _, r := range a.Readings {
				seen[r.Probe] = append(seen[r.Probe], r.Value)
			}
			return nil
		}))
		return map[string]float64{
			"vented": stat.StdDev(seen["vented"], nil),
			"closed": stat.StdDev(seen["closed"], nil),
		}
	}
	sealed := spread(still())
	assert.Greater(t, sealed["vented"], 0.4)
	assert.Less(t, sealed["closed"], 1e-9)
	open := spread(still(Act{Do: Vent{}}))
	assert.Less(t, open["vented"], 1e-9)
	assert.Greater(t, open["closed"], 0.4)
}

func TestWeatherWandersAsItSays(t *testing.T) {
	b := newBarometer(Weather{MeanKPa: 99, Sigma: 1.2, Lag: 12 * time.Hour}, seeded(11))
	var hourly []float64
	for h := range 24 * 2000 {
		hourly = append(hourly, b.at(time.Duration(h)*time.Hour))
	}
	mean, sigma := stat.MeanStdDev(hourly, nil)
	assert.InDelta(t, 99, mean, 0.15)
	assert.InDelta(t, 1.2, sigma, 0.06)
	assert.InDelta(t, math.Exp(-1), stat.Correlation(hourly[12:], hourly[:len(hourly)-12], nil), 0.05)
}

func TestAClockThatIsWrongStampsItsReadings(t *testing.T) {
	p := Probe{Name: "p", Interval: time.Hour, Clock: -90 * time.Second, Pressure: &Sense{}}
	for i, r := range heard(t, watched(p), 5*time.Hour)[detect.Pressure] {
		assert.Equal(t, monday().Add(time.Duration(i)*time.Hour-90*time.Second), r.Time)
		assert.Equal(t, monday().Add(time.Duration(i)*time.Hour), r.Arrived)
	}
}

func TestSamplingFasterThanTheStepSeesAStraightLine(t *testing.T) {
	p := Probe{Name: "p", Interval: time.Second, Temperature: &Sense{}}
	tank := watched(p)
	tank.Cooling = Cooling{Room: 25, RoomLag: time.Hour}
	got := values(heard(t, tank, 10*time.Minute)[detect.Temperature])
	require.Len(t, got, 600)
	for i, v := range got {
		assert.InDelta(t, 25-10.6*math.Exp(-float64(i)/3600), v, 0.0005)
	}
}
