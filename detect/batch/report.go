package batch

import (
	"maps"
	"slices"
	"time"

	"spile/detect"
)

// Report is a batch with all that was done, called and read of it.
type Report struct {
	Batch
	Log    []Line  `json:"log"`    // oldest first, lines struck out included
	Alarms []Alarm `json:"alarms"` // oldest first
	Curves []Curve `json:"curves"` // by quantity and probe

	Probes   []ProbeCare `json:"probes"`             // floats beside gravities by hand
	Earlier  []Brew      `json:"earlier,omitempty"`  // batches of the same beer
	Deviates []string    `json:"deviates,omitempty"` // where this one lies outside of what they had
}

// Line is a line of the cellar log as the report shows it.
type Line struct {
	Name   string       `json:"line"` // by which it is corrected or struck out
	Event  detect.Event `json:"event"`
	Echo   string       `json:"echo"` // said back, every figure in both units
	Struck bool         `json:"struck,omitempty"`
}

// Curve is what one probe said of one quantity, hour by hour.
type Curve struct {
	Quantity detect.Quantity `json:"quantity"`
	Probe    string          `json:"probe"`
	Points   []CurvePoint    `json:"points"`
}

// CurvePoint is an hour of a curve, in the inside unit.
type CurvePoint struct {
	Time  time.Time `json:"time"`
	Value float64   `json:"value"`
	Low   float64   `json:"low"`
	High  float64   `json:"high"`
}

// Report is the batch's report as it stood at a moment.
func (r *Record) Report(at time.Time) Report {
	s := r.story(at)
	rep := Report{Batch: r.At(at), Log: s.logLines(), Probes: s.care(), Alarms: []Alarm{}, Curves: s.curvesOf()}
	for _, a := range r.alarms {
		if !a.Mute && !a.Raised.After(at) && (a.Ended.IsZero() || a.Ended.After(s.began)) {
			rep.Alarms = append(rep.Alarms, a)
		}
	}
	slices.SortStableFunc(rep.Alarms, func(a, b Alarm) int { return a.Raised.Compare(b.Raised) })
	return rep
}

// logLines are those of the batch, and those struck out within its time.
func (s *story) logLines() []Line {
	struck := detect.Struck(s.log)
	out := []Line{}
	if s.before != nil {
		out = s.before.logLines()
	}
	for _, e := range s.log {
		if e.Time.After(s.at) || e.Time.Before(s.held()) {
			continue
		}
		said := e
		said.Time = e.Time.In(s.settings.Zone)
		out = append(out, Line{Name: e.Line(), Event: e, Echo: said.Echo(), Struck: struck[e.Line()]})
	}
	return out
}

// curvesOf are the hours of the batch.
func (s *story) curvesOf() []Curve {
	out := []Curve{}
	if s.before != nil {
		out = s.before.curvesOf()
	}
	for _, q := range detect.Quantities() {
		for _, probe := range slices.Sorted(maps.Keys(s.curves[q])) {
			c := Curve{Quantity: q, Probe: probe}
			for _, h := range hourly(s.curves[q][probe].until(s.at)) {
				if h.Newest.After(s.held()) {
					c.Points = append(c.Points, CurvePoint{Time: h.Start, Value: h.Value, Low: h.Low, High: h.High})
				}
			}
			if len(c.Points) > 0 {
				out = append(out, c)
			}
		}
	}
	return out
}

// hourly joins what is finer than an hour.
func hourly(hours []hour) []hour {
	var out []hour
	for _, h := range hours {
		start := h.Start.Truncate(time.Hour)
		if n := len(out); n > 0 && out[n-1].Start.Equal(start) {
			o := &out[n-1]
			total := float64(o.N + h.N)
			o.Value = (o.Value*float64(o.N) + h.Value*float64(h.N)) / total
			o.Low, o.High, o.Newest, o.N = min(o.Low, h.Low), max(o.High, h.High), h.Newest, o.N+h.N
			continue
		}
		h.Start = start
		out = append(out, h)
	}
	return out
}
