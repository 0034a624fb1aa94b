package page

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// schemes reads the colours of the stylesheet: the light ones, and the dark ones over them.
func schemes(t *testing.T) (light, dark map[string]string) {
	t.Helper()
	body, err := files.ReadFile("static/spile.css")
	require.NoError(t, err)
	before, after, found := strings.Cut(string(body), "prefers-color-scheme: dark")
	require.True(t, found)
	read := func(text string, into map[string]string) map[string]string {
		for _, m := range regexp.MustCompile(`--([\w-]+): (#[0-9a-f]{6});`).FindAllStringSubmatch(text, -1) {
			into[m[1]] = m[2]
		}
		return into
	}
	light = read(before, map[string]string{})
	dark = read(after, map[string]string{})
	require.Len(t, dark, len(light), "each colour has its dark twin")
	return light, dark
}

// luminance and contrast are those of WCAG 2.2, "relative luminance" and "contrast ratio".
func luminance(t *testing.T, color string) float64 {
	t.Helper()
	part := func(at int) float64 {
		v, err := strconv.ParseUint(color[at:at+2], 16, 8)
		require.NoError(t, err, color)
		c := float64(v) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*part(1) + 0.7152*part(3) + 0.0722*part(5)
}

func contrast(t *testing.T, a, b string) float64 {
	high, low := luminance(t, a), luminance(t, b)
	if high < low {
		high, low = low, high
	}
	return (high + 0.05) / (low + 0.05)
}

func TestContrastOfBlackOnWhite(t *testing.T) {
	assert.InDelta(t, 21, contrast(t, "#000000", "#ffffff"), 1e-9) // the greatest there is, by WCAG 2.2
}

// WCAG 2.2 AA asks 4.5 of text (1.4.3) and 3 of the edges of inputs and of what shows the focus (1.4.11).
func TestColoursCanBeRead(t *testing.T) {
	pairs := []struct {
		front, back string
		least       float64
	}{
		{"ink", "paper", 4.5}, {"ink", "sheet", 4.5}, {"soft", "paper", 4.5}, {"soft", "sheet", 4.5}, {"link", "paper", 4.5}, {"link", "sheet", 4.5},
		{"on-act", "act", 4.5}, {"on-critical", "critical", 4.5}, {"on-high", "high", 4.5}, {"on-caution", "caution", 4.5},
		{"edge", "paper", 3}, {"edge", "sheet", 3}, {"critical", "paper", 3}, {"act", "paper", 3},
	}
	light, dark := schemes(t)
	for name, scheme := range map[string]map[string]string{"light": light, "dark": dark} {
		for _, p := range pairs {
			require.Contains(t, scheme, p.front)
			require.Contains(t, scheme, p.back)
			assert.GreaterOrEqual(t, contrast(t, scheme[p.front], scheme[p.back]), p.least, "%s: %s on %s", name, p.front, p.back)
		}
	}
}

func TestButtonsFitAThumb(t *testing.T) {
	body, err := files.ReadFile("static/spile.css")
	require.NoError(t, err)
	for _, m := range regexp.MustCompile(`min-height: (\d+)px`).FindAllStringSubmatch(string(body), -1) {
		height, err := strconv.Atoi(m[1])
		require.NoError(t, err)
		assert.GreaterOrEqual(t, height, 48)
	}
}
