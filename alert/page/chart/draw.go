package chart

import (
	"bytes"
	"cmp"
	"fmt"
	"image/color"
	"io"
	"time"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// pictureScale is how many dots of a PNG make one unit of the drawing: enough for a phone's screen.
const pictureScale = 2

// SVG writes the chart as SVG.
func (c Chart) SVG(w io.Writer, size Size, colors Palette) error {
	canvas := vgsvg.NewWith(vgsvg.UseWH(vg.Length(size.Width), c.height(size)))
	c.draw(draw.New(canvas), size, colors)
	var drawn bytes.Buffer
	if _, err := canvas.WriteTo(&drawn); err != nil {
		return fmt.Errorf("write the chart: %w", err)
	}
	// The drawing names one font; a device that lacks it would write in serif.
	body := bytes.ReplaceAll(drawn.Bytes(), []byte("font-family:Liberation Sans;font-variant:normal"),
		[]byte("font-family:'Liberation Sans',Arial,Helvetica,sans-serif"))
	_, err := w.Write(body)
	return err
}

// PNG writes the chart as PNG.
func (c Chart) PNG(w io.Writer, size Size, colors Palette) error {
	canvas := vgimg.NewWith(vgimg.UseWH(vg.Length(size.Width), c.height(size)), vgimg.UseDPI(72*pictureScale))
	c.draw(draw.New(canvas), size, colors)
	if _, err := (vgimg.PngCanvas{Canvas: canvas}).WriteTo(w); err != nil {
		return fmt.Errorf("write the chart: %w", err)
	}
	return nil
}

// bold is the weight of captions.
const bold = xfont.WeightBold

// timeAxis is the room below the lowest panel, for the words of the time line.
func (s Size) timeAxis() vg.Length { return vg.Length(s.Text) * 1.8 }

func (c Chart) height(size Size) vg.Length {
	return c.lanes(size, Palette{}).height() + vg.Length(float64(len(c.Panels))*size.Panel) + size.timeAxis()
}

func (c Chart) lanes(size Size, colors Palette) lanes {
	style := words(size, colors.Soft)
	style.YAlign = text.YBottom
	return lanes{chart: c, palette: colors, style: style}
}

// draw lays lanes and panels above each other, so that one moment is one place in all of them.
func (c Chart) draw(canvas draw.Canvas, size Size, colors Palette) {
	canvas.SetColor(colors.Paper)
	canvas.Fill(canvas.Path())
	canvas = draw.Crop(canvas, edge, -edge, 0, 0)
	panels := make([]drawn, 0, len(c.Panels))
	for i, panel := range c.Panels {
		panels = append(panels, c.panel(panel, i == len(c.Panels)-1, size, colors))
	}
	left, right := margins(panels, canvas)
	right = max(right, vg.Length(size.Text)) // half of the last hour's words
	place := func(p *plot.Plot, area draw.Canvas) {
		own := p.DataCanvas(area)
		area.Min.X += left - (own.Min.X - area.Min.X)
		area.Max.X -= right - (area.Max.X - own.Max.X)
		p.Draw(area)
	}
	lowest := canvas.Max.Y
	next := func(height vg.Length) draw.Canvas {
		lowest -= height
		return draw.Canvas{Canvas: canvas.Canvas, Rectangle: vg.Rectangle{
			Min: vg.Point{X: canvas.Min.X, Y: lowest}, Max: vg.Point{X: canvas.Max.X, Y: lowest + height},
		}}
	}
	place(c.top(size, colors), next(c.lanes(size, colors).height()))
	for i, p := range panels {
		p.caption.draw(draw.Crop(next(size.strip()), left, -right, 0, 0))
		height := vg.Length(size.Panel) - size.strip()
		if i == len(panels)-1 {
			height += size.timeAxis()
		}
		place(p.plot, next(height))
	}
}

// fontSlack is how much wider words may come out where a device lacks the font that they were measured in.
const fontSlack vg.Length = 1.1

// edge keeps words off the edge of the drawing.
const edge vg.Length = 4

// drawn is a panel ready to be drawn.
type drawn struct {
	plot    *plot.Plot
	caption caption
}

// margins are the widest that any of the panels needs beside its curves.
func margins(panels []drawn, canvas draw.Canvas) (left, right vg.Length) {
	for _, p := range panels {
		area := p.plot.DataCanvas(canvas)
		left, right = max(left, area.Min.X-canvas.Min.X), max(right, canvas.Max.X-area.Max.X)
	}
	return left, right
}

// top is the plot that holds the lanes.
func (c Chart) top(size Size, colors Palette) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.HideAxes()
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = seconds(c.From), seconds(c.To), 0, 1
	p.X.Padding, p.Y.Padding = 0, 0
	p.Add(c.lanes(size, colors))
	return p
}

// panel is the plot of one quantity.
func (c Chart) panel(panel Panel, last bool, size Size, colors Palette) drawn {
	p := plot.New()
	p.BackgroundColor = nil
	c.axes(p, last, size, colors)
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = colors.Grid, colors.Grid
	grid.Vertical.Width, grid.Horizontal.Width = hair, hair
	p.Add(grid, through{chart: c, palette: colors})
	out := drawn{plot: p, caption: caption{title: panel.Title, size: size, colors: colors}}
	measured := 0
	for _, line := range panel.Lines {
		if len(line.Points) == 0 {
			continue
		}
		one := &curve{line: line, nth: measured, palette: colors, width: vg.Length(size.Text) / 8}
		p.Add(one)
		out.caption.curves = append(out.caption.curves, one)
		if line.Style == Measured {
			measured++
		}
	}
	if len(out.caption.curves) == 0 {
		out.caption.title += ": nothing was read"
		p.Y.Min, p.Y.Max = 0, 1
		p.Y.Tick.Marker = plot.ConstantTicks(nil)
	}
	p.X.Min, p.X.Max = seconds(c.From), seconds(c.To)
	spread(&p.Y, panel.Least)
	return out
}

// hair is the width of what only guides the eye.
const hair vg.Length = 0.8

// axes sets how the axes of a panel look.
func (c Chart) axes(p *plot.Plot, last bool, size Size, colors Palette) {
	zone := cmp.Or(c.Zone, time.UTC)
	p.X.Tick.Marker = clock{zone: zone, most: int(size.Width / size.Text / 5), silent: !last}
	p.Y.Tick.Marker = scale{most: 4}
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		align := axis.Tick.Label
		axis.Tick.Label = words(size, colors.Soft)
		axis.Tick.Label.XAlign, axis.Tick.Label.YAlign = align.XAlign, align.YAlign
		axis.Tick.Color, axis.Color = colors.Soft, colors.Soft
		axis.Padding = 0
		axis.Tick.Length = 4
	}
	if !last {
		p.X.Tick.Length = 0
		p.X.Tick.Label.Font.Size = 1
	}
}

// spread gives an axis room around what it shows, and at least a height.
func spread(axis *plot.Axis, least float64) {
	middle, half := (axis.Min+axis.Max)/2, max((axis.Max-axis.Min)/2*1.08, least/2)
	axis.Min, axis.Max = middle-half, middle+half
}

// words is how a chart writes.
func words(size Size, c color.Color) text.Style {
	return text.Style{
		Color: c, Handler: plot.DefaultTextHandler,
		Font: font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Length(size.Text)},
	}
}
