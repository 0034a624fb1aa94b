package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// The three points and their line are worked by hand: x 0, 40, 60 and y 1, 40, 61 points give slope 0.99643 and
// intercept 0.78571 of 60 (normal equations), residuals 0.214, -0.643, 0.429.
func TestKnownSolutionsAreFitted(t *testing.T) {
	line, err := FitSolutions([]Solution{{Reads: 1.000, Is: 1.001}, {Reads: 1.040, Is: 1.040}, {Reads: 1.060, Is: 1.061}})
	require.NoError(t, err)
	assert.InDelta(t, 0.99643, line.Gain, 1e-5)
	assert.InDelta(t, 1.000786, line.Apply(1.000), 1e-6)
	assert.InDeltaSlice(t, []float64{0.000214, -0.000643, 0.000429}, line.Residuals, 1e-6)

	exact, err := FitSolutions([]Solution{{Reads: 1.002, Is: 1.000}, {Reads: 1.050, Is: 1.046}})
	require.NoError(t, err)
	assert.InDelta(t, 1.046, exact.Apply(1.050), 1e-12)
	assert.InDeltaSlice(t, []float64{0, 0}, exact.Residuals, 1e-12)
}

func TestSolutionsThatMakeNoLine(t *testing.T) {
	for says, solutions := range map[string][]Solution{
		"two known solutions or more":    {{1.000, 1.001}},
		"at least 0.005 apart":           {{1.000, 1.001}, {1.003, 1.004}},
		"is a figure put wrong?":         {{1.000, 1.000}, {1.004, 1.040}},
		"has a gain of NaN, and a hydro": {{1.010, 1.000}, {1.010, 1.040}},
	} {
		_, err := FitSolutions(solutions)
		assert.ErrorContains(t, err, says)
	}
}

func TestCorrectionsBeginAtTheirTime(t *testing.T) {
	line := Straight{Offset: 0.01, Gain: 0.99}
	c := Correction{Line: &line, From: noon, Offset: map[detect.Quantity]float64{detect.Temperature: 1}}
	readings := []detect.Reading{
		{Quantity: detect.Gravity, Raw: 1.020, Time: noon.Add(-time.Minute)}, {Quantity: detect.Temperature, Raw: 14, Time: noon.Add(-time.Minute)},
		{Quantity: detect.Gravity, Raw: 1.020, Time: noon}, {Quantity: detect.Temperature, Raw: 14, Time: noon},
	}
	c.correct(readings)
	assert.Equal(t, []float64{1.020, 14}, []float64{readings[0].Value, readings[1].Value}, "what came before stays as it was")
	assert.InDelta(t, 0.01+0.99*1.020, readings[2].Value, 1e-12)
	assert.InDelta(t, 15, readings[3].Value, 1e-12)
	assert.InDelta(t, 1.020, readings[2].Raw, 1e-12, "the original is kept")
}
