package scenario

import (
	"strings"
	"time"

	"spile/detect/cellarsim"
)

// usualReturns is the lag with which the barometer goes back where the file does not say (common practice).
const usualReturns = 40 * time.Hour

// frontClauses say what stands behind a front's time. They are read only.
var frontClauses = []clause[cellarsim.Front]{
	{"by", kPa, -10, 10, func(f *cellarsim.Front, g given) { f.KPa = g.figure }},
	{"over", hours, 0.1, 240, func(f *cellarsim.Front, g given) { f.Lasts = g.hours() }},
	{"returning", hours, 0.1, 1000, func(f *cellarsim.Front, g given) { f.Returns = g.hours() }},
}

// readFronts reads "day 3 04:00 by -2 kPa over 10 h returning 40 h then day 6 12:00 by -1 kPa over 8 h".
func (r *reader) readFronts(line int, text string) error {
	for _, part := range strings.Split(text, " then ") {
		m, rest, err := takeMoment(words(part))
		if err != nil {
			return faultAt(line, "cellar: fronts: %s", err)
		}
		begins := m.at(r.dayOne)
		f := cellarsim.Front{Begins: begins.Sub(r.out.Start), Returns: usualReturns}
		if f.Begins < firstDay*24*time.Hour || f.Begins > r.out.Length {
			return faultAt(line, "cellar: fronts: %s lies outside of the scenario: move it, or make that longer with \"days N\"", m.written(begins, r.dayOne))
		}
		if err := fill(&f, "cellar: fronts", clausesOf(line, rest), frontClauses); err != nil {
			return err
		}
		if f.KPa == 0 || f.Lasts == 0 {
			return faultAt(line, "cellar: fronts: say how far and how long, as in \"day 3 04:00 by -2 kPa over 10 h\"")
		}
		r.out.Weather.Fronts = append(r.out.Weather.Fronts, f)
	}
	return nil
}

// clausesOf begins a phrase at each word that names a clause of a front.
func clausesOf(line int, from []string) []phrase {
	var out []phrase
	for _, w := range from {
		if _, _, begins := find(w, frontClauses); begins || len(out) == 0 {
			out = append(out, phrase{line: line, text: w})
			continue
		}
		out[len(out)-1].text += " " + w
	}
	return out
}
