package stable

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var start = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) //nolint:gochecknoglobals // a time is no state

const limit = 0.0005 // SG over two days

// noise is how an hour of a float errs: white noise, and noise that runs on.
type noise struct{ white, lasting, memory float64 }

// swim draws hourly means of a beer that falls by so much a day.
func swim(perDay float64, hours int, n noise, seed uint64) []Point {
	rng := rand.New(rand.NewPCG(seed, 11))
	keep, level := 0.0, 0.0
	if n.memory > 0 {
		keep, level = math.Exp(-1/n.memory), n.lasting*rng.NormFloat64()
	}
	var out []Point
	for i := range hours {
		level = keep*level + n.lasting*math.Sqrt(1-keep*keep)*rng.NormFloat64()
		out = append(out, Point{
			At:    start.Add(time.Duration(i) * time.Hour),
			Value: 1.012 - perDay*float64(i)/24 + level + n.white*rng.NormFloat64(), Celsius: math.NaN(),
		})
	}
	return out
}

// ask judges a curve at a moment.
func ask(curve []Point, at time.Time) Verdict { return Judge(curve, Question{At: at, Limit: limit}) }

// share is how often a state comes out of many draws.
func share(t *testing.T, state State, perDay float64, hours int, n noise) float64 {
	t.Helper()
	const draws = 400
	count := 0
	for seed := range uint64(draws) {
		c := swim(perDay, hours, n, seed)
		if ask(c, c[len(c)-1].At).State == state {
			count++
		}
	}
	return float64(count) / draws
}

// Half a point of noise on each of six readings an hour leaves 0.2 points in the hour's mean.
func TestStandingIsShownAndFallingIsNot(t *testing.T) {
	six := noise{white: 0.0005 / math.Sqrt(6)}
	assert.GreaterOrEqual(t, share(t, Shown, 0, 48, six), 0.97, "a flat beer")
	assert.Zero(t, share(t, Shown, 0.0003, 48, six), "0.3 points a day, called stable")
	assert.GreaterOrEqual(t, share(t, NotShown, 0.0003, 48, six), 0.99, "0.3 points a day")
}

// The bound means what it says: a beer that falls by just the limit is called stable at most once in twenty times,
// whatever its noise; some room is left for noise that a curve of two days hardly shows.
func TestTheBoundHolds(t *testing.T) {
	tests := map[string]noise{
		"white":             {white: 0.0002},
		"rough":             {white: 0.0005},
		"runs on for 3 h":   {white: 0.0001, lasting: 0.00015, memory: 3},
		"runs on for 6 h":   {white: 0.0001, lasting: 0.00015, memory: 6},
		"hardly white ever": {white: 0.00003, lasting: 0.0002, memory: 4},
	}
	for name, n := range tests {
		t.Run(name, func(t *testing.T) {
			assert.LessOrEqual(t, share(t, Shown, limit/2, 48, n), 0.09)
		})
	}
}

func TestThinCurvesAreUnknown(t *testing.T) {
	quiet := noise{white: 0.0001}
	whole := swim(0, 72, quiet, 1)
	end := whole[len(whole)-1].At
	var sparse []Point
	for i := 0; i < len(whole); i += 6 {
		sparse = append(sparse, whole[i])
	}
	tests := map[string]struct {
		curve []Point
		at    time.Time
		says  string
	}{
		"nothing":           {nil, end, "no gravity"},
		"a day and a half":  {whole[:36], whole[35].At, "followed for 35 h so far"},
		"old":               {whole, end.Add(9 * time.Hour), "9 h old"},
		"four hours a day":  {sparse, sparse[len(sparse)-1].At, "in 8 of the 12 hours"},
		"rough beyond hope": {swim(0, 48, noise{white: 0.003}, 5), start.Add(47 * time.Hour), "too rough"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			v := ask(tt.curve, tt.at)
			assert.Equal(t, Unknown, v.State)
			assert.Contains(t, v.Why, tt.says)
		})
	}
}

func TestWhatLiesBeforePlaysNoPart(t *testing.T) {
	c := swim(0, 72, noise{white: 0.0001}, 3)
	for i := range 30 {
		c[i].Value += 0.004 // before the hops
	}
	end := c[len(c)-1].At
	assert.Equal(t, NotShown, ask(c, end).State, "the step lies in the window")
	assert.Equal(t, Shown, Judge(c, Question{At: end, Since: c[29].At, Limit: limit}).State)
	assert.Equal(t, Unknown, Judge(c, Question{At: end, Since: c[50].At, Limit: limit}).State, "too little since")
}

// A float that nobody corrected rises or falls with the beer's temperature: cooling is no fermentation, and no cover for it.
func TestCoolingIsAllowedFor(t *testing.T) {
	cooled := func(perDay float64) []Point {
		c := swim(perDay, 48, noise{white: 0.0001}, 9)
		for i := range c {
			c[i].Celsius = 19
			if i > 20 {
				c[i].Celsius = 14.4
			}
			c[i].Value += 0.0001 * (c[i].Celsius - 19)
		}
		return c
	}
	end := start.Add(47 * time.Hour)
	flat, falling := ask(cooled(0), end), ask(cooled(0.0008), end)
	assert.NotEqual(t, NotShown, flat.State, "%+v", flat)
	assert.Equal(t, NotShown, falling.State, "%+v", falling)
	assert.True(t, falling.Falling)
}

// Hops lift or sink a float and let go of it over a day or two: that neither feigns a fall nor hides one for long.
func TestHopsThatSettleAreAllowedFor(t *testing.T) {
	hopped := func(perDay, step float64, hours int) Verdict {
		c := swim(perDay, hours, noise{white: 0.0001}, 21)
		for i := range c {
			c[i].Value += step * math.Exp(-float64(i)/12)
		}
		return Judge(c, Question{At: c[len(c)-1].At, Since: start, Hopped: start, Limit: limit})
	}
	for _, step := range []float64{-0.002, 0.002} {
		soon, late := hopped(0, step, 50), hopped(0, step, 120)
		assert.NotEqual(t, Shown, soon.State, "two days after the hops: %+v", soon)
		assert.Equal(t, Shown, late.State, "five days after: %+v", late)
		creeping := hopped(0.0003, step, 120)
		assert.Equal(t, NotShown, creeping.State, "%+v", creeping)
	}
	hidden := hopped(0.0005, -0.002, 72)
	assert.NotEqual(t, Shown, hidden.State, "a float that rises as hops let go of it hides creep: %+v", hidden)
}

func TestSinceWhenItStands(t *testing.T) {
	c := swim(0, 96, noise{white: 0.0001}, 4)
	for i := range 36 {
		c[i].Value += 0.0004 * float64(36-i) // it fell until hour 36
	}
	since := Since(c, c[len(c)-1].At, limit)
	require.False(t, since.IsZero())
	assert.InDelta(t, 36, since.Sub(start).Hours(), 7)
	assert.True(t, Since(nil, start, limit).IsZero())
}

// Quantiles of Student's t, from any statistical table.
func TestStudent(t *testing.T) {
	assert.InDelta(t, 1.860, student(0.95, 8), 0.01)
	assert.InDelta(t, 2.306, student(0.975, 8), 0.012)
	assert.InDelta(t, 1.684, student(0.95, 40), 0.002)
	assert.InDelta(t, 2.021, student(0.975, 40), 0.002)
}

// Of a half normal with deviation 1, 95 % lies below 1.960, by any table; far above zero nothing is cut off.
func TestAFallThatCannotBeARise(t *testing.T) {
	assert.InDelta(t, 1.960, truncated(0, 1), 0.001)
	assert.InDelta(t, 10+1.645, truncated(10, 1), 0.001)
	assert.Less(t, truncated(-2, 1), truncated(0, 1))
	assert.Positive(t, truncated(-2, 1))
	assert.Positive(t, truncated(-9, 1))
}
