package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// start is the first moment of every test's chart, a Sunday afternoon.
var start = time.Date(2026, 3, 1, 15, 0, 0, 0, time.UTC)

// level makes points of one value, a quarter of an hour apart.
func level(from, to time.Time, value float64) []Point {
	var points []Point
	for at := from; at.Before(to); at = at.Add(15 * time.Minute) {
		points = append(points, Point{at, value - 0.0003, value, value + 0.0003})
	}
	return points
}

// week is a chart with something of everything.
func week() Chart {
	end := start.Add(7 * 24 * time.Hour)
	return Chart{
		From: start, To: end,
		Panels: []Panel{
			{Title: "Gravity, SG", Least: 0.002, Lines: []Line{{Name: "hyd-3", Points: level(start, end, 1.0118)}}},
			{Title: "Beer temperature, °C", Least: 2, Lines: []Line{
				{Name: "hyd-3", Points: level(start, end, 14.4)}, {Name: "t-3", Points: level(start.Add(time.Hour), end, 14.6)},
				{Name: "setpoint", Style: Target, Points: []Point{{start, 14.4, 14.4, 14.4}, {end, 14.4, 14.4, 14.4}}},
			}},
			{Title: "CO2 made, g/L a day", Least: 1},
		},
		Marks: []Mark{{start.Add(time.Hour), "vent"}, {start.Add(61 * time.Minute), "<dry-hop>"}},
		Bars:  []Bar{{start.Add(100 * time.Hour), start.Add(140 * time.Hour), "refermentation"}},
	}
}

func svg(t *testing.T, c Chart, size Size, colors Palette) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, c.SVG(&out, size, colors))
	return out.String()
}

// texts are the words of a drawing, which must be well-formed.
func texts(t *testing.T, drawing string) []string {
	t.Helper()
	var words []string
	decoder := xml.NewDecoder(strings.NewReader(drawing))
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return words
		}
		require.NoError(t, err)
		if data, ok := token.(xml.CharData); ok && strings.TrimSpace(string(data)) != "" {
			words = append(words, strings.TrimSpace(string(data)))
		}
	}
}

func TestADrawingSaysWhatItShows(t *testing.T) {
	for _, size := range []Size{Narrow, Wide} {
		words := texts(t, svg(t, week(), size, Light))
		for _, expected := range []string{
			"Gravity, SG", "1.0115", "Beer temperature, °C", "t-3", "setpoint", "CO2 made, g/L a day: nothing was read",
			"vent", "<dry-hop>", "refermentation",
		} {
			assert.Contains(t, words, expected)
		}
	}
	assert.Contains(t, texts(t, svg(t, week(), Wide, Light)), "hyd-3", "where there is room, each pen has its name")
}

func TestADrawingLoadsAndRunsNothing(t *testing.T) {
	drawing := svg(t, week(), Wide, Dark)
	for _, never := range []string{"<script", "href=", "url(", "<image", "NaN", "Inf", "@import"} {
		assert.NotContains(t, drawing, never)
	}
}

func TestTheSameChartGivesTheSameBytesToEverybodyAtOnce(t *testing.T) {
	expected := svg(t, week(), Wide, Light)
	var group sync.WaitGroup
	for range 4 {
		group.Go(func() {
			var out bytes.Buffer
			assert.NoError(t, week().SVG(&out, Wide, Light))
			assert.Equal(t, expected, out.String())
		})
	}
	group.Wait()
}

func TestAPictureIsSharpOnAPhone(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, week().PNG(&out, Narrow, Light))
	picture, err := png.Decode(&out)
	require.NoError(t, err)
	assert.Equal(t, int(Narrow.Width)*pictureScale, picture.Bounds().Dx())
}

func TestAnEmptyChartIsADrawing(t *testing.T) {
	assert.NotEmpty(t, svg(t, Chart{From: start, To: start.Add(time.Hour)}, Narrow, Light))
	one := Chart{From: start, To: start.Add(time.Hour), Panels: []Panel{{Title: "Gravity, SG", Lines: []Line{{Name: "h", Points: []Point{{start, 1, 1, 1}}}}}}}
	assert.NotContains(t, svg(t, one, Narrow, Light), "NaN", "one point has no height of its own")
}

func TestPaletteCanBeRead(t *testing.T) {
	for name, p := range map[string]Palette{"light": Light, "dark": Dark} {
		for what, c := range map[string]struct {
			least float64
			ratio float64
		}{
			"words":          {4.5, contrast(p.Soft, p.Paper)},
			"names of calls": {4.5, contrast(p.Call, p.Paper)},
			"curves":         {3, contrast(p.Ink, p.Paper)},
			"curves on band": {3, contrast(p.Ink, p.Band)},
			"setpoint":       {3, contrast(p.Goal, p.Paper)},
		} {
			assert.GreaterOrEqual(t, c.ratio, c.least, "%s, %s", name, what)
		}
	}
}

func BenchmarkSVG(b *testing.B) {
	c := week()
	for b.Loop() {
		if err := c.SVG(io.Discard, Wide, Light); err != nil {
			b.Fatal(err)
		}
	}
}
