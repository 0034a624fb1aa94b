package chart

import (
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// caption is the strip above a panel: what it shows, and which pen is which. A panel with one curve needs no pens.
type caption struct {
	title  string
	curves []*curve
	size   Size
	colors Palette
}

// strip is how high a caption is.
func (s Size) strip() vg.Length { return vg.Length(s.Text) * 1.7 }

// penLength is the stroke beside a name: long enough to show its dashes.
func (s Size) penLength() vg.Length { return vg.Length(s.Text) * 2 }

// draw writes the caption into its strip. From the right end it lists the pens, as many as leave room for the title.
func (c caption) draw(canvas draw.Canvas) {
	title := words(c.size, c.colors.Soft)
	title.Font.Weight = bold
	title.YAlign = text.YBottom
	base := canvas.Min.Y + vg.Length(c.size.Text)*0.35
	canvas.FillText(title, vg.Point{X: canvas.Min.X, Y: base}, c.title)
	if len(c.curves) < 2 {
		return
	}
	name := words(c.size, c.colors.Soft)
	name.YAlign = text.YBottom
	gap := vg.Length(c.size.Text) * 0.6
	right, least := canvas.Max.X, canvas.Min.X+title.Width(c.title)*fontSlack+gap
	for i := len(c.curves) - 1; i >= 0; i-- {
		label := c.curves[i].line.Name
		left := right - name.Width(label)*fontSlack - gap/2 - c.size.penLength()
		if left < least {
			return
		}
		y := base + vg.Length(c.size.Text)*0.45
		canvas.StrokeLine2(c.curves[i].stroke(), left, y, left+c.size.penLength(), y)
		canvas.FillText(name, vg.Point{X: left + c.size.penLength() + gap/2, Y: base}, label)
		right = left - gap
	}
}
