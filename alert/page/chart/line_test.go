package chart

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestNothingIsDrawnWhereNothingWasRead(t *testing.T) {
	first := level(start, start.Add(3*time.Hour), 80)
	second := level(start.Add(9*time.Hour), start.Add(12*time.Hour), 80)
	both := append(append([]Point(nil), first...), second...)
	assert.Equal(t, [][]Point{first, second}, Line{Points: both}.runs())
	assert.Len(t, Line{Style: Target, Points: both}.runs(), 1, "a setpoint holds")
	assert.Len(t, Line{Points: first}.runs(), 1)
	assert.Len(t, Line{Points: both[:2]}.runs(), 1, "two points say nothing of a usual distance")
}

func TestStylesDifferInMoreThanColour(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range []*curve{
		{line: Line{Style: Measured}, width: 1}, {line: Line{Style: Measured}, nth: 1, width: 1}, {line: Line{Style: Target}, width: 1},
		{line: Line{Style: Explained}, width: 1}, {line: Line{Style: Limit}, width: 1},
	} {
		key := ""
		for _, d := range c.stroke().Dashes {
			key += fmt.Sprint(" ", float64(d))
		}
		assert.False(t, seen[key], "two styles have the dashes %q", key)
		seen[key] = true
	}
}

func TestABandIsDrawnOnlyWhereValuesDiffer(t *testing.T) {
	flat := []Point{{start, 1, 1, 1}, {start.Add(time.Hour), 1, 1, 1}}
	assert.Nil(t, bandOf(flat, nil))
}
