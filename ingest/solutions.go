package ingest

import (
	"errors"
	"fmt"
	"math"
)

// Solution is a known solution that a hydrometer was dipped in.
type Solution struct {
	Reads float64 // SG, what the probe said
	Is    float64 // SG, what it was
}

// Straight is the line that a hydrometer's readings are brought onto: gravity = Offset + Gain x reading.
type Straight struct {
	Offset    float64
	Gain      float64
	Residuals []float64 // SG, of each solution, what the line leaves
}

// Apply corrects a reading.
func (s Straight) Apply(sg float64) float64 { return s.Offset + s.Gain*sg }

// Limits of a calibration (common practice): what lies closer or leans more is a slip of the pen, or another probe.
const (
	leastApart   = 0.005 // SG between the lightest and the densest solution
	mostGainAway = 0.15  // of 1
)

// FitSolutions fits a straight line through two or more known solutions by least squares.
func FitSolutions(solutions []Solution) (Straight, error) {
	if len(solutions) < 2 {
		return Straight{}, errors.New("a line needs two known solutions or more, such as water and a wort; for one use offset")
	}
	n := float64(len(solutions))
	var x, y float64
	low, high := math.Inf(1), math.Inf(-1)
	for _, s := range solutions {
		x, y = x+s.Reads/n, y+s.Is/n
		low, high = min(low, s.Is), max(high, s.Is)
	}
	if high-low < leastApart {
		return Straight{}, fmt.Errorf("the solutions lie within %.4f SG of each other: take some that are at least %.3f apart", high-low, leastApart)
	}
	var xx, xy float64
	for _, s := range solutions {
		xx += (s.Reads - x) * (s.Reads - x)
		xy += (s.Reads - x) * (s.Is - y)
	}
	line := Straight{Gain: xy / xx}
	if !(math.Abs(line.Gain-1) <= mostGainAway) { // catches NaN too: all read the same
		return Straight{}, fmt.Errorf("the line through the solutions has a gain of %.3f, and a hydrometer's is near 1: is a figure put wrong?", line.Gain)
	}
	line.Offset = y - line.Gain*x
	for _, s := range solutions {
		line.Residuals = append(line.Residuals, s.Is-line.Apply(s.Reads))
	}
	return line, nil
}
