package chart

import (
	"slices"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// curve draws one line. It implements plot.Plotter and plot.DataRanger.
type curve struct {
	line    Line
	nth     int // among the measured lines of its panel
	palette Palette
	width   vg.Length
}

// gapFactor is how many of its usual distances a curve may be without a point before it is broken.
const gapFactor = 3.5

// runs cuts a line where it says nothing for long. What holds until it changes is never cut.
func (l Line) runs() [][]Point {
	if len(l.Points) < 3 || l.Style.steps() {
		return [][]Point{l.Points}
	}
	distances := make([]time.Duration, 0, len(l.Points)-1)
	for i, p := range l.Points[1:] {
		distances = append(distances, p.Time.Sub(l.Points[i].Time))
	}
	slices.Sort(distances)
	longest := time.Duration(gapFactor * float64(distances[len(distances)/2]))
	var runs [][]Point
	first := 0
	for i := 1; i < len(l.Points); i++ {
		if l.Points[i].Time.Sub(l.Points[i-1].Time) > longest {
			runs = append(runs, l.Points[first:i])
			first = i
		}
	}
	return append(runs, l.Points[first:])
}

// stroke is the pen of a style.
func (c *curve) stroke() draw.LineStyle {
	s := draw.LineStyle{Color: c.palette.Ink, Width: c.width}
	dashes := func(lengths ...float64) {
		for _, l := range lengths {
			s.Dashes = append(s.Dashes, vg.Length(l)*c.width)
		}
	}
	switch c.line.Style {
	case Measured:
		if c.nth > 0 {
			dashes(6, 1.5)
		}
	case Target:
		s.Color = c.palette.Goal
		dashes(4, 3)
	case Explained:
		s.Color = c.palette.Goal
		dashes(1, 2)
	case Limit:
		s.Color = c.palette.Call
		dashes(6, 2, 1, 2)
	}
	return s
}

// steps tells whether a style holds its value until the next point.
func (s Style) steps() bool { return s == Target || s == Limit }

// Plot is of plot.Plotter.
func (c *curve) Plot(canvas draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&canvas)
	at := func(t time.Time, v float64) vg.Point { return vg.Point{X: x(seconds(t)), Y: y(v)} }
	for _, run := range c.line.runs() {
		if len(run) == 0 {
			continue
		}
		if band := bandOf(run, at); band != nil && c.line.Style == Measured {
			canvas.FillPolygon(c.palette.Band, canvas.ClipPolygonXY(band))
		}
		line := make([]vg.Point, 0, len(run))
		for i, point := range run {
			if i > 0 && c.line.Style.steps() {
				line = append(line, at(point.Time, run[i-1].Value))
			}
			line = append(line, at(point.Time, point.Value))
		}
		if len(line) == 1 { // a single one would leave no trace
			canvas.DrawGlyph(draw.GlyphStyle{Color: c.palette.Ink, Radius: 1.5 * c.width, Shape: draw.CircleGlyph{}}, line[0])
			continue
		}
		canvas.StrokeLines(c.stroke(), canvas.ClipLinesXY(line)...)
	}
}

// bandOf is the outline of the extremes of a run; nil where it has none.
func bandOf(run []Point, at func(time.Time, float64) vg.Point) []vg.Point {
	if !slices.ContainsFunc(run, func(p Point) bool { return p.High > p.Low }) {
		return nil
	}
	band := make([]vg.Point, 0, 2*len(run))
	for _, p := range run {
		band = append(band, at(p.Time, p.High))
	}
	for _, p := range slices.Backward(run) {
		band = append(band, at(p.Time, p.Low))
	}
	return band
}

// DataRange is of plot.DataRanger.
func (c *curve) DataRange() (xmin, xmax, ymin, ymax float64) {
	first := c.line.Points[0]
	xmin, xmax, ymin, ymax = seconds(first.Time), seconds(first.Time), first.Low, first.High
	for _, p := range c.line.Points {
		xmin, xmax = min(xmin, seconds(p.Time)), max(xmax, seconds(p.Time))
		ymin, ymax = min(ymin, p.Low), max(ymax, p.High)
	}
	return xmin, xmax, ymin, ymax
}
