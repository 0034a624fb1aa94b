package trial

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// WriteText writes the report for people: a table of the classes, then the measures against their bars.
func (r Report) WriteText(to io.Writer) error {
	text := &strings.Builder{}
	fmt.Fprintf(text, "Simulated cellars: %d runs, %.1f quiet tank-years, seed %d. They prove nothing about a real one.\n\n", r.Runs, r.Years, r.Seed)
	text.WriteString("False: calls of refermentation with no yeast at work. Other: false alarms of any other kind, low priority left out.\n")
	text.WriteString("Creeps: how many were called, with median and worst hours from the very onset, and degP gone at the call. Beside them\n")
	text.WriteString("an oracle on the float that knows all but the onset and the float's drift, a float's slope over 24 h, and a reading by\nhand at 8:00. ")
	text.WriteString("Where the relief valve lets off what a creep makes while over-pressure stands, a critical call already has the\n")
	text.WriteString("brewer at the tank: a creep of which nothing else told is counted by itself, not as missed.\n\n")
	r.classTable().write(text)
	text.WriteString("\n")
	r.measureTable().write(text)
	_, err := io.WriteString(to, text.String())
	return err
}

func (r Report) classTable() table {
	t := table{left: []bool{true, false, false, false, false, false, false, false, false, false, false, true}}
	t.row("class", "runs", "years", "false", "other", "called", "spile", "degP", "oracle", "slope", "by hand", "what happens")
	for _, c := range r.Classes {
		t.row(c.Class, fmt.Sprint(c.Runs), fmt.Sprintf("%.1f", c.Years), fmt.Sprint(c.False), fmt.Sprint(c.Other), c.called(),
			c.Delay.hours(c.Missed), c.Depth.plato(), c.Oracle.hours(c.OracleMiss), c.Slope.hours(c.SlopeMiss), c.byHand(), c.Says)
	}
	return t
}

func (r Report) measureTable() table {
	t := table{left: []bool{true, true, false, false, true}}
	t.row("measure", "bar", "figure", "of", "")
	for _, m := range r.Measures {
		t.row(m.Name, m.Bar, m.figure(), fmt.Sprint(m.N), string(m.State))
	}
	return t
}

// table is text in columns, each to the left or to the right.
type table struct {
	left []bool
	rows [][]string
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

const columnGap = "   "

func (t table) write(to *strings.Builder) {
	width := make([]int, len(t.left))
	for _, row := range t.rows {
		for i, cell := range row {
			width[i] = max(width[i], utf8.RuneCountInString(cell))
		}
	}
	for _, row := range t.rows {
		line := ""
		for i, cell := range row {
			space := strings.Repeat(" ", width[i]-utf8.RuneCountInString(cell))
			if t.left[i] {
				line += cell + space + columnGap
			} else {
				line += space + cell + columnGap
			}
		}
		to.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}

func (m Measure) figure() string {
	if m.Figure == nil {
		return "-"
	}
	switch m.Unit {
	case "share":
		return fmt.Sprintf("%.1f %%", 100**m.Figure)
	case "calls", "missed", "creeps":
		return fmt.Sprintf("%.0f", *m.Figure)
	}
	return fmt.Sprintf("%.3g %s", *m.Figure, m.Unit)
}

// called is how many of the creeps were, and how many were called before there was anything to call.
func (r Row) called() string {
	if r.Creeps == 0 {
		return "-"
	}
	text := fmt.Sprintf("%d of %d", r.Creeps-r.Missed-r.Early-r.Relieved, r.Creeps)
	if r.Relieved > 0 {
		text = fmt.Sprintf("(%d by relief) %s", r.Relieved, text)
	}
	if r.Early > 0 {
		text = fmt.Sprintf("(%d early) %s", r.Early, text)
	}
	return text
}

// byHand shows a quiet class's false calls in place of the delay.
func (r Row) byHand() string {
	if r.Creeps == 0 && r.HandFalse > 0 {
		return fmt.Sprintf("%d false", r.HandFalse)
	}
	return r.Hand.hours(r.HandMiss)
}

// hours shows a spread of delays, and how many never came.
func (s *Spread) hours(missed int) string {
	text := "-"
	if s != nil {
		text = fmt.Sprintf("%.1f / %.0f", s.Median, s.Worst)
	}
	if missed > 0 {
		text += fmt.Sprintf(", %d missed", missed)
	}
	return strings.TrimPrefix(text, "-, ")
}

func (s *Spread) plato() string {
	if s == nil {
		return "-"
	}
	return fmt.Sprintf("%.3f", s.Median)
}
