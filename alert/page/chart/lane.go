package chart

import (
	"cmp"
	"slices"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// lanes names, above the panels, what was called and what was done: a bar in a row for each call, and the names of what
// was done in as many rows as keep them apart, up to nameRows. It implements plot.Plotter.
type lanes struct {
	chart   Chart
	palette Palette
	style   text.Style
}

// Rows that the lanes may take. What finds no room keeps its line through the panels; the page lists all.
const (
	nameRows = 3
	barRows  = 3
)

// placed is a name or a bar in its row.
type placed struct {
	row   int // from the top; -1: there was no room
	left  vg.Length
	right vg.Length // where it ends
}

// row finds room for something in one of so many rows, each of which is taken up to an end.
func row(ends []vg.Length, left, right vg.Length) placed {
	for i, end := range ends {
		if left >= end {
			ends[i] = right
			return placed{i, left, right}
		}
	}
	return placed{-1, left, right}
}

// height is what the lanes need.
func (l lanes) height() vg.Length {
	rows := 0
	if len(l.chart.Marks) > 0 {
		rows += nameRows
	}
	if n := len(l.chart.Bars); n > 0 {
		rows += min(n, barRows)
	}
	return vg.Length(rows)*l.rowHeight() + 2*edge
}

func (l lanes) rowHeight() vg.Length { return l.style.Font.Size * 1.3 }

// Plot is of plot.Plotter.
func (l lanes) Plot(canvas draw.Canvas, p *plot.Plot) {
	x, _ := p.Transforms(&canvas)
	top := canvas.Max.Y - edge
	if n := min(len(l.chart.Bars), barRows); n > 0 {
		l.bars(canvas, x, top)
		top -= vg.Length(n) * l.rowHeight()
	}
	l.names(canvas, x, top)
}

// bars draws what was called.
func (l lanes) bars(canvas draw.Canvas, x func(float64) vg.Length, top vg.Length) {
	ends := make([]vg.Length, min(len(l.chart.Bars), barRows))
	bars := slices.SortedStableFunc(slices.Values(l.chart.Bars), func(a, b Bar) int { return a.From.Compare(b.From) })
	for _, b := range bars {
		left := max(x(seconds(b.From)), canvas.Min.X)
		right := max(min(x(seconds(b.To)), canvas.Max.X), left+3)
		width := l.style.Width(b.Name) * fontSlack
		spot := row(ends, left, max(right, left+width)+6)
		if spot.row < 0 {
			continue
		}
		y := top - (vg.Length(spot.row)+1)*l.rowHeight()
		canvas.SetColor(l.palette.Call)
		canvas.FillPolygon(l.palette.Call, rectangle(left, y, right, y+3))
		style := l.style
		style.Color = l.palette.Call
		from := min(left, canvas.Max.X-width)
		canvas.FillText(style, vg.Point{X: max(from, canvas.Min.X), Y: y + 4}, b.Name)
	}
}

func rectangle(left, bottom, right, top vg.Length) []vg.Point {
	return []vg.Point{{X: left, Y: bottom}, {X: right, Y: bottom}, {X: right, Y: top}, {X: left, Y: top}}
}

// names writes what was done, the newest first: what is old may go without.
func (l lanes) names(canvas draw.Canvas, x func(float64) vg.Length, top vg.Length) {
	marks := slices.SortedStableFunc(slices.Values(l.chart.Marks), func(a, b Mark) int {
		return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Name, b.Name))
	})
	ends := make([]vg.Length, nameRows)
	for _, m := range marks {
		at, width := x(seconds(m.Time)), l.style.Width(m.Name)*fontSlack
		left := max(min(at, canvas.Max.X-width), canvas.Min.X)
		spot := row(ends, left, left+width+5)
		if spot.row < 0 {
			continue
		}
		canvas.FillText(l.style, vg.Point{X: left, Y: top - (vg.Length(spot.row)+1)*l.rowHeight() + 2}, m.Name)
	}
}

// through draws, across a panel, a line for each mark and the edges of each bar. It implements plot.Plotter.
type through struct {
	chart   Chart
	palette Palette
}

// Plot is of plot.Plotter.
func (l through) Plot(canvas draw.Canvas, p *plot.Plot) {
	x, _ := p.Transforms(&canvas)
	line := func(t time.Time, s draw.LineStyle) {
		if at := x(seconds(t)); at >= canvas.Min.X && at <= canvas.Max.X {
			canvas.StrokeLine2(s, at, canvas.Min.Y, at, canvas.Max.Y)
		}
	}
	for _, m := range l.chart.Marks {
		line(m.Time, draw.LineStyle{Color: l.palette.Soft, Width: 0.8, Dashes: []vg.Length{2, 2}})
	}
	for _, b := range l.chart.Bars {
		line(b.From, draw.LineStyle{Color: l.palette.Call, Width: 1.2})
	}
}
