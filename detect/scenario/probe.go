package scenario

import (
	"slices"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/cellarsim"
)

// fitted is a probe being read from its clauses.
type fitted struct {
	cellarsim.Probe
	at detect.Place
}

// sense is what the probe is there for: a float's gravity, a gauge's pressure, a thermowell's temperature.
func (f *fitted) sense() *cellarsim.Sense {
	switch {
	case f.Gravity != nil:
		return f.Gravity
	case f.Pressure != nil:
		return f.Pressure
	}
	return f.Temperature
}

// fittings are the sorts of probe, by the word that begins their clauses.
func fittings(sort, name string) (cellarsim.Probe, bool) {
	switch sort {
	case "float":
		return cellarsim.Hydrometer(name), true
	case "thermowell":
		return cellarsim.Thermowell(name), true
	case "gauge":
		return cellarsim.HeadGauge(name), true
	case "barometer":
		return cellarsim.Barometer(name), true
	}
	return cellarsim.Probe{}, false
}

// step is the measure of a probe's errors: differences in what it measures.
func (f *fitted) step() measure {
	switch {
	case f.Gravity != nil:
		return sgStep
	case f.Pressure != nil:
		return kPa
	}
	return kelvin
}

// probeClauses say how a probe sees and speaks; step is the measure of its errors.
func probeClauses(step measure, sort string) []clause[fitted] {
	out := []clause[fitted]{
		{"every", hours, 1.0 / 3600, 24, func(f *fitted, g given) { f.Interval = g.hours() }},
		{"first", hours, 0, 24, func(f *fitted, g given) { f.Phase = g.hours() }},
		{"noise", step, 0, 20, func(f *fitted, g given) { f.sense().Noise = g.figure }},
		{"wander", step, 0, 20, func(f *fitted, g given) { f.sense().Wander, f.sense().WanderLag = g.figure, 3*time.Hour }},
		{"resolution", step, 0, 20, func(f *fitted, g given) { f.sense().Resolution = g.figure }},
		{"offset", step, -100, 100, func(f *fitted, g given) { f.sense().Offset = g.figure }},
		{"drift", step, -20, 20, func(f *fitted, g given) { f.sense().DriftPerDay = g.figure }},
		{"wild", share, 0, 1, func(f *fitted, g given) { f.sense().WildShare = g.figure }},
		{"wild-by", step, 0, 1000, func(f *fitted, g given) { f.sense().WildSize = g.figure }},
		{"loss", share, 0, 1, func(f *fitted, g given) { f.Radio.LossShare = g.figure }},
		{"repeat", share, 0, 1, func(f *fitted, g given) { f.Radio.RepeatShare = g.figure }},
		{"late", share, 0, 1, func(f *fitted, g given) { f.Radio.LateShare = g.figure }},
		{"late-by", hours, 0, 240, func(f *fitted, g given) { f.Radio.LateBy = g.hours() }},
		{"gaps", count, 0, 100, func(f *fitted, g given) { f.Radio.GapsPerDay = g.figure }},
		{"gap", hours, 0, 240, func(f *fitted, g given) { f.Radio.GapLength = g.hours() }},
		{"buffered", nothing, 0, 0, func(f *fitted, _ given) { f.Radio.Buffered = true }},
		{"clock", hours, 0, 240, func(f *fitted, g given) { f.Clock = g.hours() }},
		{"clock-behind", hours, 0, 240, func(f *fitted, g given) { f.Clock = -g.hours() }},
	}
	for _, p := range places {
		out = append(out, clause[fitted]{"at " + string(p), nothing, 0, 0, func(f *fitted, _ given) { f.at = p }})
	}
	switch sort {
	case "gauge":
		out = append(out,
			clause[fitted]{"factory-sealed", nothing, 0, 0, func(f *fitted, _ given) { f.Pressure.SealedRef = true }})
	case "float":
		out = append(out,
			clause[fitted]{"per-kelvin", sgStep, -0.01, 0.01, func(f *fitted, g given) { f.Float.PerKelvin = g.figure }},
			clause[fitted]{"hop-step", sgStep, 0, 0.05, func(f *fitted, g given) { f.Float.HopStep = g.figure }},
			clause[fitted]{"warmth-offset", kelvin, -10, 10, func(f *fitted, g given) { f.Temperature.Offset = g.figure }})
	}
	return out
}

// places are where a probe can sit. It is read only.
var places = []detect.Place{detect.Head, detect.Top, detect.Middle, detect.Bottom, detect.Cone}

// readProbe fits a probe to its tank.
func (r *reader) readProbe(s statement) error {
	t, name, err := r.probeOf(s)
	if err != nil {
		return err
	}
	sort := s.phrases[0].text
	p, ok := fittings(sort, name)
	if !ok {
		return faultAt(s.line, "probe %s: %s is no sort of probe: write float, thermowell, gauge or barometer first", name, quoted(sort))
	}
	if t.heard(name) {
		return faultAt(s.line, "probe %s: the tank has it already: give each its own name", name)
	}
	f := fitted{Probe: p}
	if sort == "barometer" {
		f.at = detect.Outside
	}
	if err := fill(&f, "probe "+name, s.phrases[1:], probeClauses(f.step(), sort)); err != nil {
		return err
	}
	t.Model.Probes = append(t.Model.Probes, f.Probe)
	if f.at != "" {
		t.Settings.At[name] = f.at
	}
	return nil
}

// probeOf reads "hyd-1" or "FV3/hyd-1".
func (r *reader) probeOf(s statement) (*Tank, string, error) {
	tank, probe, both := strings.Cut(s.about, "/")
	if !both {
		tank, probe = "", s.about
	}
	t, err := r.tank(s.line, tank)
	if err == nil && !detect.ValidName(probe) {
		err = faultAt(s.line, "%s %s: %s", s.word, quoted(probe), detect.NameRule)
	}
	return t, probe, err
}

// tank finds the tank of a statement; the only one need not be named.
func (r *reader) tank(line int, name string) (*Tank, error) {
	if name == "" && len(r.out.Tanks) == 1 {
		return &r.out.Tanks[0], nil
	}
	i := slices.IndexFunc(r.out.Tanks, func(t Tank) bool { return t.Model.Name == name })
	switch {
	case i >= 0:
		return &r.out.Tanks[i], nil
	case name == "" && len(r.out.Tanks) == 0:
		return nil, faultAt(line, "there is no tank yet: write a line \"tank FV3: beer 20 hL\" above this one")
	case name == "":
		return nil, faultAt(line, "there are several tanks: say which, as in \"at day 1 09:00 FV3: vent\" or \"probe FV3/hyd-1: float\"")
	}
	return nil, faultAt(line, "there is no tank %s: write its tank line above this one", quoted(name))
}
