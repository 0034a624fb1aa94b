package detect

import "time"

// Trace is what one probe said of one quantity over a stretch of time, folded
// into steps: what a chart draws.
type Trace struct {
	Tank     string
	Probe    string
	Quantity Quantity
	Steps    []TraceStep // oldest first; a step without a reading is left out
}

// TraceStep is one step of a trace, in the inside unit. The extremes are of all
// its readings, so that no peak is lost.
type TraceStep struct {
	Time  time.Time // where the step begins
	Low   float64
	High  float64
	Mean  float64
	Count int
}
