package trial

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect/cellarsim"
)

// Whatever is drawn lies in its range, and makes a cellar that can be run.
func TestScenesAreDrawnInRange(t *testing.T) {
	t.Parallel()
	for _, c := range Classes() {
		for i := range 60 {
			s := newScene(11, c, i)
			_, err := cellarsim.New(s.plan, rand.New(rand.NewPCG(1, 1)))
			require.NoError(t, err, "%s %d", c.Name, i)
			inRange(t, s.tank.HeadspaceLiters/s.tank.BeerLiters, 0.05, 0.20)
			inRange(t, s.tank.ExchangeLag.Hours(), 0.98, 40)
			inRange(t, s.end.Hours(), 239, 336)
			inRange(t, s.tank.GaugeKPa, 30, 0.75*s.told.ReliefKPa)
			if s.told.HeadspaceLiters > 0 {
				inRange(t, s.told.HeadspaceLiters/s.tank.HeadspaceLiters, 0.75, 1.25)
			}
			if s.told.BeerLiters > 0 {
				inRange(t, s.told.BeerLiters/s.tank.BeerLiters, 0.9, 1.1)
			}
			total := 0.0
			for _, f := range s.steps {
				total += max(f.sg, -f.sg)
				inRange(t, f.relax.Hours(), 7.9, 30)
			}
			inRange(t, total, 0, largestHopStep)
			checkProbes(t, s)
			checkCreep(t, s)
		}
	}
}

func inRange(t *testing.T, v, low, high float64) {
	t.Helper()
	assert.GreaterOrEqual(t, v, low)
	assert.LessOrEqual(t, v, high)
}

func checkProbes(t *testing.T, s *scene) {
	t.Helper()
	assert.Equal(t, s.class.Gravity, s.has(floatName))
	assert.Equal(t, s.class.Pressure, s.has(gaugeName))
	if s.class.Pressure {
		assert.True(t, s.has(wellName), "pressure cannot be judged without a temperature")
		inRange(t, s.probe(gaugeName).Interval.Seconds(), 10, 600)
	}
	if p := s.probe(floatName); p != nil {
		inRange(t, p.Interval.Minutes(), 4.9, 60)
		inRange(t, p.Gravity.Noise, 0.0002, 0.001)
	}
}

func checkCreep(t *testing.T, s *scene) {
	t.Helper()
	if s.class.Quiet() {
		assert.Zero(t, s.creep)
		return
	}
	inRange(t, s.creep.Plato, s.class.Creep[0], s.class.Creep[1])
	inRange(t, s.creep.Ramp.Hours(), 9.9, 24)
	inRange(t, (s.onset - s.hopped).Hours(), 23.9, 72)
	assert.Greater(t, s.end-s.onset, 4*24*time.Hour, "a creep is given time to be seen")
}

// The same seed, class and index draw the same run; another of any draws another.
func TestSceneComesFromSeedClassAndIndex(t *testing.T) {
	t.Parallel()
	quiet, _ := find("quiet")
	gauge, _ := find("quiet-gauge")
	first := newScene(1, quiet, 0)
	assert.Equal(t, first.plan.Tanks, newScene(1, quiet, 0).plan.Tanks)
	for _, other := range []*scene{newScene(2, quiet, 0), newScene(1, quiet, 1), newScene(1, gauge, 0)} {
		assert.NotEqual(t, first.tank.BeerLiters, other.tank.BeerLiters)
	}
}

// People log most of what they do, some of it late, some not at all.
func TestPeopleLogAsPeopleDo(t *testing.T) {
	t.Parallel()
	class, _ := find("handled")
	var acts, unlogged, late int
	for i := range 300 {
		s := newScene(5, class, i)
		for _, a := range s.tank.Script {
			switch a.Do.(type) {
			case cellarsim.TopUp, cellarsim.Sample, cellarsim.Dump, cellarsim.Seal:
				acts++
				if a.Unlogged {
					unlogged++
				} else if a.Told >= 30*time.Minute {
					late++
				}
			}
		}
	}
	assert.InDelta(t, unloggedShare, float64(unlogged)/float64(acts), 0.03)
	assert.InDelta(t, lateShare, float64(late)/float64(acts), 0.03)
}

func TestClassesAreTold(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	share := 0.0
	wide := 0.0 // creeps of 0.4 degP and more, for each tank-year
	for _, c := range Classes() {
		assert.False(t, seen[c.Name], "%s stands twice", c.Name)
		seen[c.Name] = true
		assert.NotEmpty(t, c.Says)
		assert.True(t, c.Gravity || c.Pressure)
		if c.Quiet() {
			share += c.Share
		} else if c.Creep == wholeCreep {
			wide += c.Share
		}
	}
	assert.InDelta(t, 1, share, 1e-9, "the quiet classes share the tank-years")
	assert.GreaterOrEqual(t, 200*wide, 500.0, "200 tank-years come with 500 creeps")
}
