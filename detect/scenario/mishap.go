package scenario

import (
	"time"

	"spile/detect/cellarsim"
)

// mishap is something that befalls a tank.
type mishap struct {
	clauses []clause[deed] // the first one is the mishap's own name
	do      func(deed) cellarsim.Deed
}

// lastsClause says how long; without it, for good.
var lastsClause = clause[deed]{"for", hours, 0.01, 2400, func(d *deed, g given) { d.lasts = g.hours() }}

func setNothing(*deed, given)      {}
func setProbe(d *deed, g given)    { d.probe = g.word }
func setPlato(d *deed, g given)    { d.plato = g.figure }
func setWarmth(d *deed, g given)   { d.celsius = g.figure }
func setShare(d *deed, g given)    { d.share = g.figure }
func setShift(d *deed, g given)    { d.sg = g.figure }
func setRamp(d *deed, g given)     { d.ramp = g.hours() }
func setDecay(d *deed, g given)    { d.decay = g.hours() }
func setRelaxing(d *deed, g given) { d.relax = g.hours() }

// The course of a creep where the file does not say (common practice).
const (
	usualRamp  = 14 * time.Hour
	usualDecay = 60 * time.Hour
)

// mishaps are what can befall a tank, by the first word. They are read only.
var mishaps = map[string]mishap{
	"creep": {
		[]clause[deed]{
			{"creep", change, 0.01, 10, setPlato},
			{"ramp", hours, 0, 1000, setRamp},
			{"decay", hours, 1, 1000, setDecay},
		},
		func(d deed) cellarsim.Deed { return cellarsim.Creep{Plato: d.plato, Ramp: d.ramp, Decay: d.decay} },
	},
	"cooling": {
		[]clause[deed]{{"cooling fails", nothing, 0, 0, setNothing}, lastsClause},
		func(d deed) cellarsim.Deed { return cellarsim.CoolingFails{For: d.lasts} },
	},
	"glycol": {
		[]clause[deed]{{"glycol runs", nothing, 0, 0, setNothing}, lastsClause},
		func(d deed) cellarsim.Deed { return cellarsim.ValveSticksOpen{For: d.lasts} },
	},
	"door": {
		[]clause[deed]{{"door", celsius, -30, 50, setWarmth}, lastsClause},
		func(d deed) cellarsim.Deed { return cellarsim.Door{Celsius: d.celsius, For: d.lasts} },
	},
	"leak": {
		[]clause[deed]{{"leak", share, 0, 20, setShare}},
		func(d deed) cellarsim.Deed { return cellarsim.Leaks{PerDay: d.share} },
	},
	"stuck": {
		[]clause[deed]{{"stuck", name, 0, 0, setProbe}, lastsClause},
		func(d deed) cellarsim.Deed { return cellarsim.ProbeSticks{Probe: d.probe, For: d.lasts} },
	},
	"silent": {
		[]clause[deed]{{"silent", name, 0, 0, setProbe}, lastsClause},
		func(d deed) cellarsim.Deed { return cellarsim.ProbeFallsSilent{Probe: d.probe, For: d.lasts} },
	},
	"shift": {
		[]clause[deed]{
			{"shift", name, 0, 0, setProbe},
			{"by", sgStep, -0.1, 0.1, setShift},
			{"relaxing", hours, 0.1, 1000, setRelaxing},
		},
		func(d deed) cellarsim.Deed { return cellarsim.FloatStep{Probe: d.probe, SG: d.sg, Relax: d.relax} },
	},
}

// readMishap reads what befalls a tank.
func (r *reader) readMishap(s statement, t *Tank, at time.Time, first string, m mishap) error {
	d := deed{ramp: usualRamp, decay: usualDecay}
	if err := fill(&d, first, s.phrases, m.clauses); err != nil {
		return err
	}
	if first == "door" && d.lasts == 0 {
		return faultAt(s.line, "door: say how long it stands open, as in \"door 25 degC, for 2 h\"")
	}
	if d.probe != "" && !t.heard(d.probe) {
		return faultAt(s.line, "%s: tank %s has no probe %s: write its probe line above this one", first, t.Model.Name, quoted(d.probe))
	}
	if at.Before(r.out.Start) {
		return faultAt(s.line, "%s: before the scenario begins only the log can be told: move it to day 1 or later", first)
	}
	t.Model.Script = append(t.Model.Script, cellarsim.Act{At: at.Sub(r.out.Start), Do: m.do(d)})
	return nil
}
