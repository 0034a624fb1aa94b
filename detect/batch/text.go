package batch

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"spile/detect"
	"spile/detect/beer"
)

// Voice is how a report is said: on which clock, in which units.
type Voice struct {
	Zone    *time.Location // nil: UTC
	Display detect.Display
}

// paper is how wide a report in text is.
const paper = 100

// text writes a report in lines.
type text struct {
	Voice
	b strings.Builder
}

// Text writes a report as a page of text.
func (r Report) Text(w io.Writer, v Voice) error {
	if v.Zone == nil {
		v.Zone = time.UTC
	}
	t := &text{Voice: v}
	t.head(r)
	t.sheet(r.Figures)
	t.points(r)
	t.list("What this leads to", r.Outlook)
	t.earlier(r)
	t.history(r)
	var probes []string
	for _, p := range r.Probes {
		probes = append(probes, p.Says)
	}
	t.list("The probes beside the hand", probes)
	t.list("What is open", r.Open)
	t.b.WriteString("\n")
	t.wrap("", "spile is no safety device. Read the gauge, sample and taste before you go on; makers' ratings and local codes come before anything here.")
	_, err := io.WriteString(w, t.b.String())
	return err
}

func (t *text) clock(at time.Time) string { return at.In(t.Zone).Format("Mon 2 Jan 15:04") }

// head names the batch and says where it is.
func (t *text) head(r Report) {
	name := r.Tank
	if r.Beer != "" {
		name += ", " + r.Beer
	}
	fmt.Fprintf(&t.b, "%s\n%s\n", name, strings.Repeat("=", utf8.RuneCountInString(name)))
	line := "as of " + r.At.In(t.Zone).Format("Mon 2 Jan 2006 15:04")
	if !r.Began.IsZero() {
		line += fmt.Sprintf(", day %.0f", r.At.Sub(r.Began).Hours()/24)
	}
	t.wrap("", line)
	line = capital(r.Stage.Title)
	if !r.Stage.Since.IsZero() {
		line += " since " + t.clock(r.Stage.Since)
	}
	if !r.Stage.Sure {
		line += " (read off the curves)"
	}
	t.wrap("", line+": "+r.Stage.Why+".")
}

// sheet writes the numbers of the brew sheet.
func (t *text) sheet(f Figures) {
	t.title("Brew sheet")
	for _, row := range f.Rows(t.Voice) {
		fmt.Fprintf(&t.b, "  %-22s %s\n", row[0], row[1])
	}
}

// points writes the hold point that comes next in full, the others in a line, and those that are passed.
func (t *text) points(r Report) {
	for _, p := range r.HoldPoints {
		if p.Next {
			t.point(p)
		}
	}
	for _, p := range r.HoldPoints {
		if !p.Next {
			t.b.WriteString("\n")
			t.wrap("", strings.TrimSpace(p.Question+" "+strings.ToUpper(string(p.Verdict))+". "+p.Lacking()))
		}
	}
	if len(r.Passed) == 0 {
		return
	}
	t.title("The hold points as they stood when you went on")
	for _, p := range r.Passed {
		t.wrap("  ", strings.TrimSpace(fmt.Sprintf("%s  %-8s %s. %s", t.clock(p.At), p.Name, p.Verdict, p.Lacking())))
	}
}

func (t *text) point(p HoldPoint) {
	t.title(p.Question + " " + strings.ToUpper(string(p.Verdict)))
	for _, c := range p.Conditions {
		t.wrap("  ", fmt.Sprintf("%-8s %s", c.State(), c.Title))
		t.wrap("           ", c.Evidence)
		if c.State() != Yes && c.Settles != "" {
			t.wrap("           ", "To settle it: "+c.Settles)
		}
	}
	for _, f := range p.Follows {
		t.wrap("  ", "If you go on: "+f+".")
	}
	if p.Caution != "" {
		t.wrap("  ", p.Caution)
	}
}

// earlier writes where the batch deviates from those before.
func (t *text) earlier(r Report) {
	if len(r.Earlier) == 0 {
		return
	}
	t.title(fmt.Sprintf("Beside %d earlier of this beer", len(r.Earlier)))
	if len(r.Deviates) == 0 {
		t.wrap("  ", "within what they had")
	}
	for _, line := range r.Deviates {
		t.wrap("  - ", line)
	}
}

// history writes what was done and what was called.
func (t *text) history(r Report) {
	t.title("What was done")
	if len(r.Log) == 0 {
		t.wrap("  ", "nothing is logged")
	}
	for _, l := range r.Log {
		line := t.clock(l.Event.Time) + "  " + l.Event.Name
		if _, figures, found := strings.Cut(l.Echo, ": "); found {
			line += ": " + figures
		}
		if l.Struck {
			line += " (struck out)"
		}
		line += "  [" + l.Name + "]"
		t.wrap("  ", line)
	}
	t.title("What was called")
	if len(r.Alarms) == 0 {
		t.wrap("  ", "no alarm in this batch")
	}
	for _, a := range r.Alarms {
		until := "stands"
		if !a.Ended.IsZero() {
			until = "until " + t.clock(a.Ended)
		}
		t.wrap("  ", fmt.Sprintf("%s  %s (%s): %s", t.clock(a.Raised), a.Title, until, a.Summary))
	}
}

func (t *text) list(title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	t.title(title)
	for _, line := range lines {
		t.wrap("  - ", line)
	}
}

func (t *text) title(title string) {
	fmt.Fprintf(&t.b, "\n%s\n", title)
}

// wrap writes a line, broken at words, the lines after the first set in under its text.
func (t *text) wrap(indent, line string) {
	room, col := indent, utf8.RuneCountInString(indent)
	t.b.WriteString(room)
	for i, word := range strings.Split(line, " ") {
		n := utf8.RuneCountInString(word)
		if i > 0 && col+1+n > paper {
			t.b.WriteString("\n" + strings.Repeat(" ", len(indent)))
			col = len(indent)
		} else if i > 0 {
			t.b.WriteString(" ")
			col++
		}
		t.b.WriteString(word)
		col += n
	}
	t.b.WriteString("\n")
}

// Rows are the figures with their names, as people read them.

// Rows are the figures with their names, as people read them.
func (f Figures) Rows(v Voice) [][2]string {
	shown := func(value float64, unit string, kind beer.Kind) string {
		if text, err := beer.Print(value, unit, kind); err == nil {
			return text
		}
		return beer.Both(value, kind)
	}
	var out [][2]string
	add := func(name string, value *float64, write func(float64) string) {
		if value != nil {
			out = append(out, [2]string{name, write(*value)})
		}
	}
	gravity := func(sg float64) string { return beer.Both(sg, beer.KindGravity) }
	percent := func(p float64) string { return fmt.Sprintf("%.1f %%", p) }
	add("original gravity", f.OriginalGravity, gravity)
	if f.OriginalOpen != "" {
		out = append(out, [2]string{"", f.OriginalOpen})
	}
	add("gravity", f.Gravity, gravity)
	add("expected end", f.ExpectedGravity, gravity)
	add("alcohol by volume", f.AlcoholByVolume, func(p float64) string { return fmt.Sprintf("%.1f %% (give or take 0.2)", p) })
	add("apparent attenuation", f.ApparentAttenuation, percent)
	add("real attenuation", f.RealAttenuation, percent)
	add("beer", f.BeerLiters, func(l float64) string { return beer.Both(l, beer.KindVolume) })
	add("temperature", f.TemperatureCelsius, func(c float64) string { return shown(c, v.Display.Temperature, beer.KindTemperature) })
	add("head pressure", f.PressureKPa, func(p float64) string { return shown(p, v.Display.Pressure, beer.KindPressure) })
	if f.CO2Volumes != nil {
		out = append(out, [2]string{"CO2 in the beer", fmt.Sprintf("%.2f volumes (%.2f to %.2f), %.1f g/L; %s",
			f.CO2Volumes.Value, f.CO2Volumes.Low, f.CO2Volumes.High, f.CO2GramsPerLiter.Value, f.CO2How)})
	}
	if f.FallPoints != nil {
		out = append(out, [2]string{"fall over two days", points(*f.FallPoints)})
	}
	add("hop contact", f.HopContactHours, func(h float64) string { return detect.Spell(time.Duration(h * float64(time.Hour))) })
	add("hops", f.HopGramsPerLiter, func(g float64) string { return fmt.Sprintf("%.1f g/L", g) })
	if len(f.HoursAt) > 0 {
		out = append(out, [2]string{"time at temperature", f.bands(v)})
	}
	return out
}

// bands writes how long the beer was how warm.
func (f Figures) bands(v Voice) string {
	parts := make([]string, len(f.HoursAt))
	for i, h := range f.HoursAt {
		low, high, unit := h.FromCelsius, h.ToCelsius, "degC"
		if v.Display.Temperature == "degF" {
			low, high, unit = low*1.8+32, high*1.8+32, "degF"
		}
		parts[i] = fmt.Sprintf("%.0f h at %.0f to %.0f %s", h.Hours, low, high, unit)
	}
	return strings.Join(parts, ", ")
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// lower begins a sentence's part small, but for what is written in capitals.
func lower(s string) string {
	if len(s) < 2 || s[1] >= 'A' && s[1] <= 'Z' {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
