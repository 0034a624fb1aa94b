package trial

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// WriteText writes the report for people: a table of the classes, then the measures against their bars.
func (r Report) WriteText(to io.Writer) error {
	t := tabwriter.NewWriter(to, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(to, "%d runs, %.1f quiet tank-years, seed %d. Simulated cellars: they prove nothing about a real one.\n", r.Runs, r.Years, r.Seed)
	fmt.Fprint(to, "Delays in hours from the very onset of creep, median / worst; seen: how many of the creeps.\n\n")
	fmt.Fprint(t, "class\truns\tyears\tfalse\tother\tseen\tspile\tdegP at call\toracle\tslope\tseen\tby hand\tseen\tfalse\t\t\n")
	for _, c := range r.Classes {
		fmt.Fprintf(t, "%s\t%d\t%.1f\t%d\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t\t%s\n", c.Class, c.Runs, c.Years, c.False, c.Other,
			c.seen(c.Missed), c.Delay.hours(), c.Depth.plato(), c.Oracle.hours(), c.Slope.hours(), c.seenBy(c.Slope, c.SlopeMiss),
			c.Hand.hours(), c.seenBy(c.Hand, c.HandMiss), c.handFalse(), c.Says)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(to)
	m := tabwriter.NewWriter(to, 0, 0, 2, ' ', 0)
	fmt.Fprint(m, "measure\tbar\tfigure\tof\t\n")
	for _, x := range r.Measures {
		fmt.Fprintf(m, "%s\t%s\t%s\t%d\t%s\n", x.Name, x.Bar, x.figure(), x.N, x.State)
	}
	return m.Flush()
}

func (m Measure) figure() string {
	if m.Figure == nil {
		return "-"
	}
	switch m.Unit {
	case "share":
		return fmt.Sprintf("%.1f %%", 100**m.Figure)
	case "calls", "missed":
		return fmt.Sprintf("%.0f", *m.Figure)
	}
	return strings.TrimSpace(fmt.Sprintf("%.3g %s", *m.Figure, m.Unit))
}

func (r Row) seen(missed int) string {
	if r.Creeps == 0 {
		return "-"
	}
	text := fmt.Sprintf("%d/%d", r.Creeps-missed-r.Early, r.Creeps)
	if r.Early > 0 {
		text += fmt.Sprintf(", %d early", r.Early)
	}
	return text
}

func (r Row) seenBy(s *Spread, missed int) string {
	switch {
	case r.Creeps == 0 || s == nil && missed == 0:
		return "-"
	case s == nil:
		return fmt.Sprintf("0/%d", r.Creeps)
	}
	return fmt.Sprintf("%d/%d", s.N, r.Creeps)
}

func (r Row) handFalse() string {
	if r.Creeps > 0 {
		return "-"
	}
	return fmt.Sprint(r.HandFalse)
}

func (s *Spread) hours() string {
	if s == nil {
		return "-"
	}
	return fmt.Sprintf("%.1f / %.0f", s.Median, s.Worst)
}

func (s *Spread) plato() string {
	if s == nil {
		return "-"
	}
	return fmt.Sprintf("%.3f", s.Median)
}

// WriteNDJSON writes the report for programs: a line for each class, then one for each measure and, if asked for, one
// for each call. The key "line" says which it is.
func (r Report) WriteNDJSON(to io.Writer, calls bool) error {
	out := json.NewEncoder(to)
	out.SetEscapeHTML(false)
	for _, c := range r.Classes {
		if err := out.Encode(struct {
			Line string `json:"line"`
			Row
		}{"class", c}); err != nil {
			return err
		}
	}
	for _, m := range r.Measures {
		if err := out.Encode(struct {
			Line string `json:"line"`
			Measure
		}{"measure", m}); err != nil {
			return err
		}
	}
	for i := 0; calls && i < len(r.Calls); i++ {
		if err := out.Encode(struct {
			Line string `json:"line"`
			Call
		}{"call", r.Calls[i]}); err != nil {
			return err
		}
	}
	return nil
}
