package scenario

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"spile/detect"
)

// statement is one statement of a file, taken apart but not understood.
type statement struct {
	line    int
	word    string // the first one: tank, at, expect
	about   string // what stands between it and the colon
	phrases []phrase
}

// phrase is what stands between two commas.
type phrase struct {
	line int
	text string
}

// Bounds that keep a capture, given for a scenario, from being chewed through.
const (
	longestFile   = 256 << 10 // bytes
	longestClause = 20_000    // bytes: some thousand listed readings
	longestWord   = 40        // bytes for which a word that was meant is looked for
)

// fault is an error at a line of the file.
type fault struct {
	line int
	text string
}

func (f *fault) Error() string { return fmt.Sprintf("%d: %s", f.line, f.text) }

func faultAt(line int, format string, args ...any) error {
	return &fault{line, fmt.Sprintf(format, args...)}
}

// statements takes a file apart.
func statements(text string) ([]statement, error) {
	if len(text) > longestFile {
		return nil, faultAt(1, "%d bytes: a scenario is a page or two; is this a capture?", len(text))
	}
	var out []statement
	number := 0
	for line := range strings.Lines(text) {
		number++
		if !utf8.ValidString(line) {
			return nil, faultAt(number, "this is not UTF-8 text")
		}
		plain, open := uncommented(strings.TrimRight(line, "\r\n"))
		indented := strings.HasPrefix(plain, " ") || strings.HasPrefix(plain, "\t")
		switch plain = strings.TrimSpace(plain); {
		case open:
			return nil, faultAt(number, "a quote is opened and not closed: close it on the same line")
		case plain == "":
		case indented && len(out) == 0:
			return nil, faultAt(number, "an indented line goes on with the statement above: begin this one at the margin")
		case indented:
			out[len(out)-1].add(number, plain)
		default:
			out = append(out, statement{line: number, phrases: []phrase{{line: number}}})
			out[len(out)-1].add(number, plain)
		}
	}
	for i := range out {
		if err := out[i].divide(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// uncommented cuts off what is for people, and tells whether a quote stays open.
func uncommented(line string) (text string, open bool) {
	for i := range len(line) {
		switch {
		case line[i] == '"':
			open = !open
		case line[i] == '#' && !open:
			return line[:i], false
		}
	}
	return line, open
}

// add goes on with the newest phrase and begins others behind each comma.
func (s *statement) add(number int, text string) {
	for i, part := range split(text, ',') {
		if i > 0 {
			s.phrases = append(s.phrases, phrase{line: number})
		}
		last := &s.phrases[len(s.phrases)-1]
		if last.text == "" {
			last.line = number
		}
		last.text = strings.TrimSpace(last.text + " " + strings.TrimSpace(part))
	}
}

// split cuts a text at a byte that stands outside quotes.
func split(text string, at byte) []string {
	var out []string
	quoted, from := false, 0
	for i := range len(text) {
		switch {
		case text[i] == '"':
			quoted = !quoted
		case text[i] == at && !quoted:
			out = append(out, text[from:i])
			from = i + 1
		}
	}
	return append(out, text[from:])
}

// divide takes the word and what it is about off the first phrase.
func (s *statement) divide() error {
	first := &s.phrases[0]
	about, body, colon := strings.Cut(first.text+" ", ": ")
	if !colon {
		about, body = "", strings.TrimSpace(first.text)
	}
	s.word, s.about, _ = strings.Cut(about, " ")
	if !colon {
		s.word, body, _ = strings.Cut(body, " ")
	}
	s.about, first.text = strings.TrimSpace(s.about), strings.TrimSpace(body)
	if !colon && s.word != "expect" {
		return faultAt(s.line, "%s: a statement has a colon and a space behind what it is about, as in \"tank FV3: beer 20 hL\"", quoted(s.word))
	}
	for _, p := range s.phrases {
		if len(p.text) > longestClause {
			return faultAt(p.line, "a clause of %d characters: at most %d; put commas between clauses, and a long list into several", len(p.text), longestClause)
		}
		if p.text == "" {
			return faultAt(p.line, "nothing stands behind the colon or between two commas: write a clause or take the comma out")
		}
	}
	return nil
}

// words takes a phrase apart; quotes keep together what they hold, and go.
func words(text string) []string {
	var out []string
	for _, w := range split(strings.ReplaceAll(text, "\t", " "), ' ') {
		if w != "" {
			out = append(out, strings.ReplaceAll(w, `"`, ""))
		}
	}
	return out
}

// nearest is the word that a mistyped one most likely means, empty where none is near.
func nearest(word string, known []string) string {
	if len(word) > longestWord {
		return ""
	}
	return detect.Nearest(word, known)
}

// quoted repeats a piece of the file in an error, shortened where it is long.
func quoted(text string) string {
	const most = 60
	if len(text) > most {
		text = strings.ToValidUTF8(text[:most], "") + "…"
	}
	return fmt.Sprintf("%q", text)
}
