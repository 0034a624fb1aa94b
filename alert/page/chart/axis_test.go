package chart

import (
	"math"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot"
	"pgregory.net/rapid"
)

func labels(ticks []plot.Tick) []string {
	var out []string
	for _, t := range ticks {
		out = append(out, t.Label)
	}
	return out
}

func TestScaleTellsRoundValuesApart(t *testing.T) {
	tests := []struct {
		low, high float64
		labels    []string
	}{
		{1.0088, 1.0126, []string{"1.009", "1.010", "1.011", "1.012"}},
		{1.0095, 1.0125, []string{"1.010", "1.011", "1.012"}},
		{1.048, 1.0485, []string{"1.0480", "1.0482", "1.0484"}},
		{78, 102, []string{"80", "90", "100"}},
		{-1.2, 1.2, []string{"-1", "0", "1"}},
		{0, 0.9, []string{"0.00", "0.25", "0.50", "0.75"}},
		{13.4, 15.4, []string{"13.5", "14.0", "14.5", "15.0"}},
	}
	for _, test := range tests {
		assert.Equal(t, test.labels, labels(scale{most: 4}.Ticks(test.low, test.high)))
	}
}

func TestScaleNeverCrowds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-1e4, 1e4).Draw(t, "low")
		height := rapid.Float64Range(1e-4, 1e4).Draw(t, "height")
		ticks := scale{most: 4}.Ticks(low, low+height)
		assert.LessOrEqual(t, len(ticks), 5)
		assert.NotEmpty(t, ticks)
		seen := map[string]bool{}
		for _, tick := range ticks {
			assert.False(t, seen[tick.Label], "%s stands twice", tick.Label)
			seen[tick.Label] = true
			assert.True(t, tick.Value >= low-height*1e-6 && tick.Value <= low+height*(1+1e-6))
		}
	})
}

func TestClockGoesByTheWall(t *testing.T) {
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)
	at := func(text string) float64 {
		parsed, err := time.ParseInLocation("2006-01-02 15:04", text, lisbon)
		require.NoError(t, err)
		return seconds(parsed)
	}
	night := clock{zone: lisbon, most: 6}
	assert.Equal(t, []string{"18:00", "21:00", "Mon 2", "03:00"}, labels(night.Ticks(at("2026-03-01 16:30"), at("2026-03-02 05:00"))))
	// The clocks go forward at 01:00 on 29 March 2026: 01:00 is left out.
	spring := clock{zone: lisbon, most: 12}
	assert.Equal(t, []string{"23:00", "Sun 29", "02:00", "03:00"}, labels(spring.Ticks(at("2026-03-28 22:30"), at("2026-03-29 03:10"))))
	assert.Equal(t, []string{"27 Mar", "29 Mar", "31 Mar"}, labels(clock{zone: lisbon, most: 4}.Ticks(at("2026-03-26 12:00"), at("2026-04-01 12:00"))))
	for _, tick := range (clock{zone: lisbon, most: 6, silent: true}).Ticks(at("2026-03-01 16:30"), at("2026-03-02 05:00")) {
		assert.Equal(t, " ", tick.Label)
	}
}

func TestClockNeverCrowds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hours := rapid.Float64Range(1, 24*900).Draw(t, "hours")
		most := rapid.IntRange(3, 16).Draw(t, "most")
		low := seconds(start)
		ticks := clock{zone: time.UTC, most: most}.Ticks(low, low+3600*hours)
		assert.LessOrEqual(t, len(ticks), most+1)
	})
}

func TestRoundStepOfNothing(t *testing.T) {
	for _, step := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		assert.InDelta(t, 1, roundStep(step), 0)
	}
}
