package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A line's errors are those of the textbook: for n samples a step apart, of noise one, the slope's variance is
// 12/(n(n²-1)) (Draper and Smith, "Applied Regression Analysis", from memory).
func TestLine(t *testing.T) {
	var trail []sample
	for i := range 12 {
		trail = append(trail, sample{At: began.Add(time.Duration(i) * time.Hour), Value: 3 + 0.25*float64(i)})
	}
	l, ok := fitLine(trail, began)
	require.True(t, ok)
	assert.InDelta(t, 0.25, l.slope, 1e-12)
	assert.InDelta(t, 3+0.25*11, l.level, 1e-12)
	assert.InDelta(t, math.Sqrt(12.0/(12*(144-1))), l.slopeError, 1e-12)
	assert.Equal(t, 11*time.Hour, l.span)
	_, ok = fitLine(trail[:2], began)
	assert.False(t, ok, "two samples have no errors")
}
