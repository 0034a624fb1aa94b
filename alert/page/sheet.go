package page

import (
	"bytes"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"spile/alert"
	"spile/alert/page/chart"
	"spile/detect"
	"spile/detect/batch"
)

// sheetPolicy is what a report may do: be styled by what it brings along, so that a saved copy looks the same.
const sheetPolicy = chartPolicy

// sheetSize is a chart's size on a printed page.
var sheetSize = chart.Size{Width: 980, Panel: 92, Text: 13}

// loadSheet reads the page of a report. It stands alone: one file that can be printed, saved and mailed.
func loadSheet(words template.FuncMap) (*template.Template, error) {
	t, err := template.New("report.html").Funcs(words).ParseFS(files, "templates/report.html")
	if err != nil {
		return nil, fmt.Errorf("read the page report: %w", err)
	}
	return t, nil
}

// sheet is what the page of a report shows.
type sheet struct {
	batch.Report
	Site   string
	Next   *batch.HoldPoint
	Others []batch.HoldPoint
	Rows   [][2]string
	Curves map[string]template.HTML // for paper and for a phone
	Day    string
	Zone   *time.Location
}

// reportPage answers with the report as a page.
func (s *Server) reportPage(w http.ResponseWriter, r *http.Request, rep batch.Report) error {
	page := sheet{
		Report: rep, Site: s.Site, Zone: s.Zone, Rows: rep.Figures.Rows(batch.Voice{Zone: s.Zone, Display: s.Display}),
		Day: fmt.Sprintf("%.0f", rep.At.Sub(rep.Began).Hours()/24),
	}
	for i, p := range rep.HoldPoints {
		if p.Next {
			page.Next = &rep.HoldPoints[i]
		} else {
			page.Others = append(page.Others, p)
		}
	}
	if c := s.sheetChart(rep); len(c.Panels) > 0 {
		page.Curves = map[string]template.HTML{}
		for name, size := range map[string]chart.Size{"paper": sheetSize, "phone": chart.Narrow} {
			var drawn bytes.Buffer
			if err := c.SVG(&drawn, size, chart.Light); err != nil {
				return fmt.Errorf("draw the report of %s: %w", rep.Tank, err)
			}
			// The drawing is spile's own; the names in it are escaped by who draws it.
			page.Curves[name] = template.HTML(inline(drawn.String())) //nolint:gosec // see above
		}
	}
	var out bytes.Buffer
	if err := s.sheet.Execute(&out, page); err != nil {
		return fmt.Errorf("write the report of %s: %w", rep.Tank, err)
	}
	w.Header().Set("Content-Security-Policy", sheetPolicy)
	w.Header().Set("Content-Type", htmlType+"; charset=utf-8")
	s.deliver(w, r, http.StatusOK, keepTogether(out.Bytes()))
	return nil
}

// inline takes off what stands before the picture of an SVG file.
func inline(svg string) string {
	if i := strings.Index(svg, "<svg"); i > 0 {
		return svg[i:]
	}
	return svg
}

// sheetChart draws the whole batch.
func (s *Server) sheetChart(rep batch.Report) chart.Chart {
	c := chart.Chart{From: rep.Began, To: rep.At, Zone: s.Zone}
	if rep.Ended != nil {
		c.To = *rep.Ended
	}
	for _, q := range detect.Quantities() {
		p := chart.Panel{Title: s.panelTitle(q), Least: s.least(q)}
		for _, curve := range rep.Curves {
			if curve.Quantity == q {
				p.Lines = append(p.Lines, s.sheetLine(curve))
			}
		}
		if len(p.Lines) == 0 {
			continue
		}
		if q == detect.Temperature {
			p.Lines = append(p.Lines, s.sheetSetpoints(rep, c.To)...)
		}
		c.Panels = append(c.Panels, p)
		if q == detect.Gravity {
			c.Panels = append(c.Panels, s.closer(rep, p)...)
		}
	}
	for _, l := range rep.Log {
		if !l.Struck && !slices.Contains([]string{"note", "tell", "work", "strike"}, l.Event.Name) {
			c.Marks = append(c.Marks, chart.Mark{Time: l.Event.Time, Name: l.Event.Name})
		}
	}
	for _, a := range rep.Alarms {
		to := a.Ended
		if to.IsZero() {
			to = c.To
		}
		c.Bars = append(c.Bars, chart.Bar{From: a.Raised, To: to, Name: alert.InAWord(a.Alarm, a.Title)})
	}
	return c
}

// The end of a fermentation, SG: what lies above it dwarfs a creep.
const (
	nearEnd    = 0.005
	worthWhile = 0.015
)

// closer draws the end of the gravity once more where its beginning would press it flat.
func (s *Server) closer(rep batch.Report, whole chart.Panel) []chart.Panel {
	if rep.Figures.Gravity == nil {
		return nil
	}
	near := chart.Panel{Title: "Its end, closer", Least: whole.Least}
	dwarfed := false
	for _, c := range rep.Curves {
		if c.Quantity != detect.Gravity {
			continue
		}
		part := c
		part.Points = slices.DeleteFunc(slices.Clone(c.Points), func(p batch.CurvePoint) bool { return p.Value > *rep.Figures.Gravity+nearEnd })
		dwarfed = dwarfed || c.Points[0].Value > *rep.Figures.Gravity+worthWhile
		near.Lines = append(near.Lines, s.sheetLine(part))
	}
	if !dwarfed {
		return nil
	}
	return []chart.Panel{near}
}

// sheetLine is a curve in the unit that people here read.
func (s *Server) sheetLine(c batch.Curve) chart.Line {
	line := chart.Line{Name: c.Probe}
	for _, p := range c.Points {
		line.Points = append(line.Points, chart.Point{
			Time: p.Time, Low: s.shown(p.Low, c.Quantity), Value: s.shown(p.Value, c.Quantity), High: s.shown(p.High, c.Quantity),
		})
	}
	return line
}

// sheetSetpoints are the setpoints of the batch, each until the next.
func (s *Server) sheetSetpoints(rep batch.Report, end time.Time) []chart.Line {
	var lines []chart.Line
	var from time.Time
	var set float64
	name := "setpoint" // once: a legend lists each name
	until := func(to time.Time) {
		if !from.IsZero() && to.After(from) {
			lines = append(lines, level(name, chart.Target, from, to, s.shown(set, detect.Temperature)))
			name = ""
		}
	}
	for _, l := range rep.Log {
		if l.Struck {
			continue
		}
		setpoint, given := l.Event.Amount("setpoint")
		if !given && l.Event.Name != "rest" {
			continue
		}
		until(l.Event.Time)
		from, set = time.Time{}, setpoint
		if given {
			from = l.Event.Time
		}
	}
	until(end)
	return lines
}
