// Package chart draws the curves of one tank: panels above each other over one time line, with what was done and what
// was called marked across all of them.
//
// It owns how a curve looks and nothing of what it means: values come in the unit that people read, folded into steps
// with their extremes, and times are written on the zone that is given. The same chart gives the same bytes. A stretch
// without readings stays empty; it is never bridged. Colour is nowhere the only sign: what is not measured is dashed or
// dotted, marks have their names, and what was called is a bar.
//
// It reads nothing, keeps nothing, and is safe for concurrent use.
package chart

import "time"

// Chart is what is drawn.
type Chart struct {
	From, To time.Time
	Zone     *time.Location // nil: UTC
	Panels   []Panel        // from the top; one without a point says so
	Marks    []Mark         // what was done, in any order
	Bars     []Bar          // what was called, in any order
}

// Panel is one quantity.
type Panel struct {
	Title string  // the quantity and its unit
	Least float64 // the least height of the panel, in its unit: noise is not blown up beyond it
	Lines []Line
}

// Style is how a line is drawn.
type Style int

// The styles of lines.
const (
	Measured  Style = iota // solid, with its extremes behind it
	Target                 // dashed, in steps: what it should be
	Explained              // dotted: what something else explains
	Limit                  // dash and dot, in steps: what it must not reach
)

// Line is one curve of a panel.
type Line struct {
	Name   string
	Style  Style
	Points []Point // oldest first
}

// Point is one step of a line. Low and High are equal to Value where there is no more than one value.
type Point struct {
	Time             time.Time
	Low, Value, High float64
}

// Mark is a moment at which something was done.
type Mark struct {
	Time time.Time
	Name string
}

// Bar is a stretch over which something was called.
type Bar struct {
	From, To time.Time
	Name     string
}

// Size is the room that a chart has.
type Size struct {
	Width float64 // in units of about a pixel
	Panel float64 // height of one panel
	Text  float64 // height of the letters
}

// The sizes: for a phone held upright, and for what is wider.
var (
	Narrow = Size{Width: 360, Panel: 130, Text: 12}
	Wide   = Size{Width: 1100, Panel: 170, Text: 14}
)
