package detect_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// watchedTank is a hopped tank whose three probes speak once a minute, day after day.
type watchedTank struct {
	tank *detect.Tank
	at   time.Time
	rng  *rand.Rand
	step int
}

func newWatchedTank() *watchedTank {
	w := &watchedTank{
		tank: detect.NewTank("FV1", detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 150, Sealed: true}),
		at:   began, rng: rand.New(rand.NewPCG(2, 6)),
	}
	w.tank.Log(detect.Event{Tank: "FV1", Name: "crash", Time: w.at, Arrived: w.at, Amounts: map[string]float64{"setpoint": 14.4}})
	return w
}

// read takes one reading: gravity, temperature and pressure in turn.
func (w *watchedTank) read() {
	r := detect.Reading{Tank: "FV1", Time: w.at, Arrived: w.at}
	switch w.step % 3 {
	case 0:
		w.tank.Tick(w.at)
		r.Probe, r.Quantity, r.Value = "hyd-1", detect.Gravity, 1.0120+0.0003*w.rng.NormFloat64()
	case 1:
		r.Probe, r.Quantity, r.Value = "well-1", detect.Temperature, 14.4+0.2*math.Sin(float64(w.step)/600)+0.03*w.rng.NormFloat64()
	case 2:
		r.Probe, r.Quantity, r.Value = "head-1", detect.Pressure, 80+0.15*w.rng.NormFloat64()
		w.at = w.at.Add(time.Minute)
	}
	r.Raw = r.Value
	w.step++
	w.tank.Take(r)
}

// BenchmarkReading is one reading through all detectors of a tank that is full of history, its share of the work of
// every finished hour in it.
func BenchmarkReading(b *testing.B) {
	w := newWatchedTank()
	for range 3 * 60 * 24 * 10 {
		w.read()
	}
	b.ReportAllocs()
	for b.Loop() {
		w.read()
	}
}

// A reading takes little memory, for each that comes: most of it is the fits that every finished block of its gauge and its
// float makes.
func TestAReadingTakesLittleMemory(t *testing.T) { // not beside others: it looks at the memory of the whole process
	w := newWatchedTank()
	const days, day = 5, 3 * 60 * 24
	for range days * day {
		w.read()
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for range day {
		w.read()
	}
	runtime.ReadMemStats(&after)
	assert.Less(t, (after.TotalAlloc-before.TotalAlloc)/day, uint64(930), "bytes")
	assert.Less(t, (after.Mallocs-before.Mallocs)/day, uint64(2))
}

// What a tank keeps does not grow with its days: all that it remembers is of the last week at most, so a month tells of a
// year.
func TestATankKeepsNoMoreOverTime(t *testing.T) {
	t.Parallel()
	w := newWatchedTank()
	size := func(days int) int {
		for range 3 * 60 * 24 * days {
			w.read()
		}
		state, err := json.Marshal(w.tank)
		require.NoError(t, err)
		return len(state)
	}
	early, later := size(9), size(21)
	assert.InDelta(t, early, later, 0.1*float64(early))
	assert.Less(t, later, 200_000)
}
