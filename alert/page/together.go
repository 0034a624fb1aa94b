package page

import (
	"bytes"
	"unicode"
	"unicode/utf8"
)

// unitsFrom are the units that stand behind figures on the pages and begin with a byte, longer ones before those that they
// begin with.
func unitsFrom(first byte) []string {
	switch first {
	case 'k':
		return []string{"kPa", "kg"}
	case 'p':
		return []string{"psi", "points", "point"}
	case 'b':
		return []string{"bar", "bbl"}
	case 'd':
		return []string{"degP", "days", "day", "dBm"}
	case 'S':
		return []string{"SG"}
	case 'g':
		return []string{"g/L", "g/hL"}
	case 'v':
		return []string{"volumes", "vol"}
	case 'h':
		return []string{"hL", "hours", "hour", "h"}
	case 'L':
		return []string{"L"}
	case 'm':
		return []string{"minutes", "min"}
	case 's':
		return []string{"s"}
	case '%':
		return []string{"%"}
	case "°"[0]:
		return []string{"°C", "°F", "°P"}
	}
	return nil
}

// noBreak is a space at which no line ends.
const noBreak = "\u00a0"

// keepTogether lets no line of a page end between a figure and its unit: on a phone at night "100.0" alone says nothing.
// It changes text that people read, and neither tags, styles nor what they have typed.
func keepTogether(page []byte) []byte {
	out := make([]byte, 0, len(page)+len(page)/32)
	for len(page) > 0 {
		tag := bytes.IndexByte(page, '<')
		if tag < 0 {
			tag = len(page)
		}
		out = appendTogether(out, page[:tag])
		page = page[tag:]
		end := tagEnd(page)
		out = append(out, page[:end]...)
		page = page[end:]
	}
	return out
}

// appendTogether adds text between tags.
func appendTogether(out, text []byte) []byte {
	for {
		space := bytes.IndexByte(text, ' ')
		if space < 0 {
			return append(out, text...)
		}
		out = append(out, text[:space]...)
		if space > 0 && isDigit(text[space-1]) && beginsWithUnit(text[space+1:]) {
			out = append(out, noBreak...)
		} else {
			out = append(out, ' ')
		}
		text = text[space+1:]
	}
}

// tagEnd is where a tag has ended, and with it what is none of this: a style, or what somebody has typed.
func tagEnd(page []byte) int {
	end := bytes.IndexByte(page, '>') + 1
	if bytes.HasPrefix(page, []byte("<textarea")) || bytes.HasPrefix(page, []byte("<style")) {
		end = bytes.Index(page, []byte("</"))
	}
	if end <= 0 {
		return len(page)
	}
	return end
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// beginsWithUnit tells whether a unit comes next, as a word of its own.
func beginsWithUnit(text []byte) bool {
	if len(text) == 0 {
		return false
	}
	for _, unit := range unitsFrom(text[0]) {
		if rest, ok := bytes.CutPrefix(text, []byte(unit)); ok {
			next, _ := utf8.DecodeRune(rest)
			return !unicode.IsLetter(next) && !unicode.IsDigit(next)
		}
	}
	return false
}
