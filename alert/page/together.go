package page

import (
	"bytes"
	"unicode"
	"unicode/utf8"
)

// units are those that stand behind figures on the pages, longer ones before those that they begin with.
func units() []string {
	return []string{
		"kPa", "psi", "bar", "°C", "°F", "°P", "degP", "SG", "g/L", "g/hL", "volumes", "vol", "points", "point", "hL", "bbl", "kg", "L",
		"hours", "hour", "days", "day", "minutes", "min", "h", "s", "K", "%", "dBm",
	}
}

// noBreak is a space at which no line ends.
const noBreak = "\u00a0"

// keepTogether lets no line of a page end between a figure and its unit: on a phone at night "100.0" alone says nothing.
// It changes text that people read, and neither tags, styles nor what they have typed.
func keepTogether(page []byte) []byte {
	out := make([]byte, 0, len(page)+len(page)/32)
	inTag, verbatim := false, false
	for i, c := range page {
		switch {
		case c == '<':
			inTag = true
			verbatim = bytes.HasPrefix(page[i:], []byte("<textarea")) || bytes.HasPrefix(page[i:], []byte("<style"))
		case c == '>':
			inTag = false
		case c == ' ' && !inTag && !verbatim && i > 0 && isDigit(page[i-1]) && beginsWithUnit(page[i+1:]):
			out = append(out, noBreak...)
			continue
		}
		out = append(out, c)
	}
	return out
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// beginsWithUnit tells whether a unit comes next, as a word of its own.
func beginsWithUnit(text []byte) bool {
	for _, unit := range units() {
		if rest, ok := bytes.CutPrefix(text, []byte(unit)); ok {
			next, _ := utf8.DecodeRune(rest)
			return !unicode.IsLetter(next) && !unicode.IsDigit(next)
		}
	}
	return false
}
