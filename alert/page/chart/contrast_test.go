package chart

import (
	"image/color"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// contrast is the contrast ratio of WCAG 2.2.
func contrast(a, b color.NRGBA) float64 {
	high, low := luminance(a), luminance(b)
	if high < low {
		high, low = low, high
	}
	return (high + 0.05) / (low + 0.05)
}

// luminance is the relative luminance of WCAG 2.2.
func luminance(c color.NRGBA) float64 {
	part := func(v uint8) float64 {
		if s := float64(v) / 255; s > 0.04045 {
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return float64(v) / 255 / 12.92
	}
	return 0.2126*part(c.R) + 0.7152*part(c.G) + 0.0722*part(c.B)
}

func TestContrastOfBlackOnWhite(t *testing.T) {
	assert.InDelta(t, 21, contrast(hex(0), hex(0xffffff)), 1e-9) // the greatest there is, by WCAG 2.2
}
