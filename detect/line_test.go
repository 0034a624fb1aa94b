package detect

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A line's errors are those of the textbook: for n samples a step apart, of noise one, the slope's variance is
// 12/(n(n²-1)) (Draper and Smith, "Applied Regression Analysis", from memory).
func TestLine(t *testing.T) {
	var l line
	for i := range 12 { // backward
		if i == 2 {
			_, ok := l.fit()
			assert.False(t, ok, "two samples have no errors")
		}
		l.add(time.Duration(i)*time.Hour, 3+0.25*float64(11-i))
	}
	f, ok := l.fit()
	require.True(t, ok)
	assert.InDelta(t, 0.25, f.slope, 1e-12)
	assert.InDelta(t, 3+0.25*11, f.level, 1e-12)
	assert.InDelta(t, math.Sqrt(12.0/(12*(144-1))), f.slopeError, 1e-12)
	assert.Equal(t, 11*time.Hour, f.span)
}

// What is fitted over ever longer stretches is what is fitted over each alone, to the last bit.
func TestALineGoesOnOverLongerStretches(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	h := heading{}
	for i := range 60 {
		at := began.Add(time.Duration(i)*10*time.Minute + time.Duration(rng.IntN(300))*time.Second)
		h.Trail = append(h.Trail, glance{sample: sample{At: at, Value: 14 + rng.NormFloat64()}})
	}
	sums := trailSums{trail: h.Trail}
	for _, over := range []time.Duration{time.Minute, time.Hour, time.Hour, 2 * time.Hour, 8 * time.Hour, 20 * time.Hour} {
		going, ok := sums.fit(over)
		alone, same := h.fitOver(over)
		assert.Equal(t, same, ok, over)
		assert.Equal(t, alone, going, over)
	}
}
