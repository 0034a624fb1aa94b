package chart

import "image/color"

// Palette is the colours of a chart. A test holds each of them against its paper by WCAG 2.2 AA.
type Palette struct {
	Paper color.NRGBA
	Ink   color.NRGBA // curves and words
	Soft  color.NRGBA // axes, and what is less than words
	Grid  color.NRGBA // only guides the eye
	Band  color.NRGBA // between the extremes
	Goal  color.NRGBA // what it should be, or what explains it
	Call  color.NRGBA // what was called, and limits
}

// The palettes are those of the pages.
var (
	Light = Palette{
		Paper: hex(0xffffff), Ink: hex(0x0b5a4a), Soft: hex(0x515c57), Grid: hex(0xe3e1d8), Band: hex(0xc4ded7),
		Goal: hex(0x8a4700), Call: hex(0x9b1616),
	}
	Dark = Palette{
		Paper: hex(0x1b2220), Ink: hex(0x86d6c0), Soft: hex(0xa9b5af), Grid: hex(0x313b37), Band: hex(0x2f5248),
		Goal: hex(0xffc582), Call: hex(0xffb3aa),
	}
)

func hex(rgb uint32) color.NRGBA {
	return color.NRGBA{R: uint8(rgb >> 16), G: uint8(rgb >> 8), B: uint8(rgb), A: 0xff} //nolint:gosec // a byte at a time
}
