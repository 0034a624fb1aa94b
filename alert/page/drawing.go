package page

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"spile/alert"
	"spile/alert/page/chart"
	"spile/detect"
	"spile/detect/beer"
)

// The least heights of the panels, in inside units: below them a curve is noise (common practice).
const (
	leastGravity  = 0.002 // SG
	leastCelsius  = 2.0
	leastPressure = 5.0 // kPa
	leastMade     = 0.5 // g/L of CO2 a day
	reliefInSight = 0.6 // of the relief setting, from which on it is drawn: lower, it would press the curve flat
)

// drawing gathers what the curves of a tank show.
type drawing struct {
	window
	tank   alert.TankView
	events []detect.Event // in force, oldest first
	steps  []alert.Transition
	traces []detect.Trace
	tracks []alert.TrackPoint
}

// drawn reads what is to be drawn of a tank.
func (s *Server) drawn(ctx context.Context, tank string, chosen stretch, until time.Time) (drawing, error) {
	d := drawing{}
	var err error
	if d.tank, err = find(s.View(), tank); err != nil {
		return drawing{}, err
	}
	events, err := s.Records.Log(ctx, tank)
	if err != nil {
		return drawing{}, err
	}
	d.events = detect.InForce(events)
	d.window = windowOf(chosen, d.events, until)
	if d.traces, err = s.inside(ctx, d.tank, d.window); err != nil {
		return drawing{}, err
	}
	if chosen.Name == "batch" && d.tighten() {
		if d.traces, err = s.inside(ctx, d.tank, d.window); err != nil {
			return drawing{}, err
		}
	}
	d.tracks = s.Tracks(tank, d.From, d.To)
	d.steps, err = s.Records.Steps(ctx, d.From.Add(-alert.FiguresLookBack), d.To)
	return d, err
}

// inside reads the curves of the probes that are in the tank: the air's hundred kPa are no head pressure.
func (s *Server) inside(ctx context.Context, tank alert.TankView, w window) ([]detect.Trace, error) {
	all, err := s.traces.get(ctx, tank.Tank, w)
	var out []detect.Trace
	for _, t := range all {
		if !slices.ContainsFunc(tank.Probes, func(p detect.ProbeStatus) bool { return p.Probe == t.Probe && p.Outside }) {
			out = append(out, t)
		}
	}
	return out, err
}

// tighten begins a batch with its first reading, where that came later: spile may be younger than the beer. It tells
// whether the curves can then be finer.
func (d *drawing) tighten() bool {
	first := d.To
	for _, t := range d.traces {
		first = detect.Earlier(first, t.Steps[0].Time)
	}
	if first.After(d.From) && d.To.Sub(first) > time.Hour {
		d.From = first
	}
	step := d.Step
	d.Step = stepFor(d.To.Sub(d.From))
	return d.Step < step
}

// chart makes the drawing in the units that people here read.
func (s *Server) chart(d drawing) chart.Chart {
	c := chart.Chart{From: d.From, To: d.To, Zone: s.Zone, Marks: d.marks(), Bars: d.bars()}
	for _, q := range detect.Quantities() {
		p := chart.Panel{Title: s.panelTitle(q), Least: s.least(q)}
		for _, t := range d.traces {
			if t.Quantity == q {
				p.Lines = append(p.Lines, s.curve(t, d.Step))
			}
		}
		if len(p.Lines) == 0 {
			continue
		}
		switch q {
		case detect.Temperature:
			p.Lines = append(p.Lines, s.setpoints(d)...)
		case detect.Pressure:
			p.Lines = append(append(p.Lines, s.explained(d)...), s.relief(d)...)
		}
		c.Panels = append(c.Panels, p)
	}
	if made := d.made(); len(made.Points) > 0 {
		c.Panels = append(c.Panels, chart.Panel{Title: "CO2 made, g/L a day", Least: leastMade, Lines: []chart.Line{made}})
	}
	return c
}

// made is the make of CO2 with its bounds, as the watch had it at each moment.
func (d drawing) made() chart.Line {
	l := chart.Line{Name: "CO2"}
	for _, t := range d.tracks {
		if r := t.CO2Rate; r != nil {
			l.Points = append(l.Points, chart.Point{Time: t.Time, Low: r.Low, Value: r.Value, High: r.High})
		}
	}
	return l
}

// explained is the head pressure that temperature explains.
func (s *Server) explained(d drawing) []chart.Line {
	l := chart.Line{Name: "explained", Style: chart.Explained}
	for _, t := range d.tracks {
		if t.ExplainedKPa != nil {
			v := s.shown(*t.ExplainedKPa, detect.Pressure)
			l.Points = append(l.Points, chart.Point{Time: t.Time, Low: v, Value: v, High: v})
		}
	}
	if len(l.Points) == 0 {
		return nil
	}
	return []chart.Line{l}
}

// panelTitles are what people call the quantities.
var panelTitles = map[detect.Quantity]string{
	detect.Gravity: "Gravity", detect.Temperature: "Beer temperature", detect.Pressure: "Head pressure",
}

func (s *Server) panelTitle(q detect.Quantity) string {
	return panelTitles[q] + ", " + pretty(s.unitFor(kindOf(q)))
}

// least is the least height of a panel in the unit shown.
func (s *Server) least(q detect.Quantity) float64 {
	low, inside := 0.0, leastPressure
	switch q {
	case detect.Gravity:
		low, inside = 1, leastGravity
	case detect.Temperature:
		inside = leastCelsius
	}
	return s.shown(low+inside, q) - s.shown(low, q)
}

// shown is a value in the unit that people here read.
func (s *Server) shown(value float64, q detect.Quantity) float64 {
	kind := kindOf(q)
	out, err := beer.ToUnit(value, s.unitFor(kind), kind)
	if err != nil {
		return value
	}
	return out
}

// curve is a probe's curve.
func (s *Server) curve(t detect.Trace, step time.Duration) chart.Line {
	l := chart.Line{Name: t.Probe, Points: make([]chart.Point, 0, len(t.Steps))}
	for _, one := range t.Steps {
		l.Points = append(l.Points, chart.Point{
			Time: one.Time.Add(step / 2),
			Low:  s.shown(one.Low, t.Quantity), Value: s.shown(one.Mean, t.Quantity), High: s.shown(one.High, t.Quantity),
		})
	}
	return l
}

// level is a line that holds one value over a time.
func level(name string, style chart.Style, from, to time.Time, value float64) chart.Line {
	return chart.Line{Name: name, Style: style, Points: []chart.Point{
		{Time: from, Low: value, Value: value, High: value}, {Time: to, Low: value, Value: value, High: value},
	}}
}

// setpoints are the beer's setpoints as they were logged, each until the next or until it was dropped.
func (s *Server) setpoints(d drawing) []chart.Line {
	var lines []chart.Line
	var since time.Time
	var set float64
	end := func(at time.Time) {
		if from := detect.Later(since, d.From); !since.IsZero() && at.After(from) {
			lines = append(lines, level("", chart.Target, from, at, s.shown(set, detect.Temperature)))
		}
		since = time.Time{}
	}
	for _, e := range d.events {
		if e.Time.After(d.To) {
			break
		}
		to, given := e.Amount("setpoint")
		_, part := e.Amount("volume")
		switch e.Name {
		case "pitch", "rest", "crash", "empty", "transfer", "package":
			if part && (e.Name == "transfer" || e.Name == "package") {
				continue
			}
			end(e.Time)
			if given {
				since, set = e.Time, to
			}
		}
	}
	end(d.To)
	if len(lines) > 0 {
		lines[0].Name = "setpoint"
	}
	return lines
}

// relief is the setting of the pressure relief valve, where the curve comes into its sight.
func (s *Server) relief(d drawing) []chart.Line {
	setting := d.tank.ReliefKPa
	for _, t := range d.traces {
		for _, step := range t.Steps {
			if t.Quantity == detect.Pressure && setting > 0 && step.High >= reliefInSight*setting {
				return []chart.Line{level("relief valve", chart.Limit, d.From, d.To, s.shown(setting, detect.Pressure))}
			}
		}
	}
	return nil
}

// marks are what was done within the window.
func (d drawing) marks() []chart.Mark {
	var marks []chart.Mark
	for _, e := range d.events {
		if !e.Time.Before(d.From) && !e.Time.After(d.To) {
			marks = append(marks, chart.Mark{Time: e.Time, Name: e.Name})
		}
	}
	return marks
}

// bars are what was called of this tank: from the call until it was over.
func (d drawing) bars() []chart.Bar {
	begun := map[string]alert.Transition{}
	var bars []chart.Bar
	end := func(id string, at time.Time) {
		if first, called := begun[id]; called {
			bars = append(bars, chart.Bar{From: first.Time, To: at, Name: alert.InAWord(first.Alarm, first.Title())})
			delete(begun, id)
		}
	}
	var open []string
	for _, t := range d.steps {
		if t.Tank != d.tank.Tank {
			continue
		}
		switch t.To {
		case alert.Unacknowledged:
			if _, known := begun[t.ID]; !known {
				begun[t.ID] = t
				open = append(open, t.ID)
			}
		case alert.Returned, alert.Normal, alert.OutOfService:
			end(t.ID, t.Time)
		}
	}
	for _, id := range open {
		end(id, d.To)
	}
	return within(bars, d.From)
}

// within leaves out what was over before a moment.
func within(bars []chart.Bar, from time.Time) []chart.Bar {
	var out []chart.Bar
	for _, b := range bars {
		if b.To.After(from) {
			out = append(out, b)
		}
	}
	return out
}

// said tells in words what the curves show, for who cannot see them.
func (s *Server) said(d drawing) string {
	var lines []string
	for _, t := range d.traces {
		first, last := t.Steps[0], t.Steps[len(t.Steps)-1]
		low, high := first.Low, first.High
		for _, step := range t.Steps {
			low, high = min(low, step.Low), max(high, step.High)
		}
		kind := kindOf(t.Quantity)
		lines = append(lines, fmt.Sprintf("%s by %s: from %s to %s, between %s and %s.", panelTitles[t.Quantity], t.Probe,
			s.figure(first.Mean, kind), s.figure(last.Mean, kind), s.figure(low, kind), s.figure(high, kind)))
	}
	if len(lines) == 0 {
		return "No reading in this stretch."
	}
	return strings.Join(lines, " ")
}
