package detect

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestABlockEndsWhenTheNextBegins(t *testing.T) {
	var b block
	start := time.Date(2026, 3, 2, 1, 0, 0, 0, time.UTC)
	for i := range 4 {
		_, ok := b.add(start.Add(time.Duration(i)*15*time.Minute), time.Hour, float64(i), 14)
		require.False(t, ok)
	}
	done, ok := b.add(start.Add(time.Hour), time.Hour, 9, 15)
	require.True(t, ok)
	value, temp, _, n := done.mean(10)
	assert.Equal(t, 4, n)
	assert.InDelta(t, 1.5, value, 1e-12)
	assert.InDelta(t, 14, temp, 1e-12)
	assert.Equal(t, start, done.Start)
}

func TestAWildValueDoesNotMoveItsBlock(t *testing.T) {
	b := block{Values: []float64{1.0118, 1.0119, 1.0117, 1.0900}, Temps: []float64{14, 14, 14, 80}}
	value, temp, deviation, n := b.mean(0.004)
	assert.Equal(t, 3, n)
	assert.InDelta(t, 1.0118, value, 1e-9)
	assert.InDelta(t, 14, temp, 1e-9)
	assert.InDelta(t, 0.0001, deviation, 1e-6)
}

func TestABlockStaysBoundedUnderAFlood(t *testing.T) {
	for _, year := range []int{2026, 1969, 2039} { // a clock that is not set yet, and one past 32 bits of seconds
		var b block
		start := time.Date(year, 3, 2, 1, 0, 0, 0, time.UTC)
		for i := range 3000 {
			b.add(start.Add(time.Duration(i)*time.Second), time.Hour, float64(i), 14)
		}
		assert.Len(t, b.Values, maxBlockValues)
		assert.Contains(t, b.Values, 2999.0, "the newest replaces an old one")
	}
}

func TestMedian(t *testing.T) {
	assert.Zero(t, median(nil))
	assert.InDelta(t, 2, median([]float64{3, 1, 2}), 0)
	assert.InDelta(t, 2.5, median([]float64{4, 1, 2, 3}), 0)
	for _, n := range []int{maxBlockValues - 1, maxBlockValues, maxBlockValues + 1} {
		var values []float64
		for i := range n {
			values = append(values, float64(i*37%n)) // 37 shares no factor with any of these: each number once
		}
		was := slices.Clone(values)
		assert.InDelta(t, float64(n-1)/2, median(values), 0)
		assert.Equal(t, was, values, "they stay in their order")
	}
}

func TestAGateHoldsBackALoneWildValue(t *testing.T) {
	at := time.Date(2026, 3, 2, 1, 0, 0, 0, time.UTC)
	tests := map[string]struct {
		values []float64
		passed []bool
	}{
		"steady":                   {[]float64{14.4, 14.5, 14.3}, []bool{true, true, true}},
		"one wild":                 {[]float64{14.4, 30, 14.5}, []bool{true, false, true}},
		"a step stands":            {[]float64{14.4, 17, 17.1, 17}, []bool{true, false, true, true}},
		"two that do not agree":    {[]float64{14.4, 30, 5, 14.4}, []bool{true, false, false, true}},
		"the first is taken as is": {[]float64{30}, []bool{true}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var g gate
			for i, v := range tt.values {
				assert.Equal(t, tt.passed[i], g.pass(v, at, 1), "value %d", i)
			}
		})
	}
}

// Half in order is as good as all in order, whatever the values: many alike, rising, falling, far apart.
func TestMedianIsThatOfTheValuesInOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for n := 1; n <= 2*maxBlockValues; n++ {
		for _, alike := range []int{1, 2, 5, 1000} {
			values := make([]float64, n)
			for i := range values {
				values[i] = float64(rng.IntN(alike)) / 3
			}
			inOrder := slices.Sorted(slices.Values(values))
			want := inOrder[n/2]
			if n%2 == 0 {
				want = (inOrder[n/2-1] + inOrder[n/2]) / 2
			}
			backward := slices.Clone(inOrder)
			slices.Reverse(backward)
			for _, set := range [][]float64{values, inOrder, backward} {
				require.InDelta(t, want, median(set), 0, "%v", set)
			}
		}
	}
}
