package scenario

import (
	"strings"
	"time"

	"spile/detect"
	"spile/detect/beer"
	"spile/detect/cellarsim"
)

// deed is something that happens in a tank, being read from its clauses: what the log does not say of an event, or all
// that there is to say of a mishap.
type deed struct {
	notLogged, onlyLogged bool
	told                  time.Duration

	air, kPa, plato, celsius, sg, share float64
	stone                               bool
	over, half, spread                  time.Duration
	lasts, ramp, decay, relax           time.Duration
	probe                               string
}

// The clauses behind a log event: those of every event, and its own. They are read only.
var (
	logClauses = []clause[deed]{
		{"not logged", nothing, 0, 0, func(d *deed, _ given) { d.notLogged = true }},
		{"only logged", nothing, 0, 0, func(d *deed, _ given) { d.onlyLogged = true }},
		{"told", hours, 0, 240, func(d *deed, g given) { d.told = g.hours() }},
	}
	overClause = clause[deed]{"over", hours, 0, 240, func(d *deed, g given) { d.over = g.hours() }}
	eventExtra = map[string][]clause[deed]{
		"seal": {{"air", share, 0, 1, func(d *deed, g given) { d.air = g.figure }}},
		"gas": {
			{"creeping", kPa, 0, 100, func(d *deed, g given) { d.kPa = g.figure }},
			{"stone", nothing, 0, 0, func(d *deed, _ given) { d.stone = true }},
		},
		"rouse":    {{"to", kPa, 1, 1000, func(d *deed, g given) { d.kPa = g.figure }}},
		"dry-hop":  {{"leach", change, 0, 1, func(d *deed, g given) { d.plato = g.figure }}},
		"add":      {{"lifts", change, 0, 15, func(d *deed, g given) { d.plato = g.figure }}},
		"crash":    {overClause},
		"rest":     {overClause},
		"transfer": {overClause},
		"package":  {overClause},
		"pitch": {
			{"half", hours, 1, 1000, func(d *deed, g given) { d.half = g.hours() }},
			{"spread", hours, 1, 1000, func(d *deed, g given) { d.spread = g.hours() }},
		},
	}
)

// readAct reads something that happens at a time.
func (r *reader) readAct(s statement) error {
	m, rest, err := takeMoment(strings.Fields(s.about))
	if err != nil {
		return faultAt(s.line, "at: %s", err)
	}
	if len(rest) > 1 {
		return faultAt(s.line, "at: %s is too much: write the time and, with several tanks, one of them", quoted(strings.Join(rest, " ")))
	}
	t, err := r.tank(s.line, strings.Join(rest, ""))
	if err != nil {
		return err
	}
	at := m.at(r.dayOne)
	if at.After(r.out.End()) {
		return faultAt(s.line, "at: %s is after the end of the scenario: make it longer with \"cellar: days N\"", m.written(at, r.dayOne))
	}
	first, _, _ := strings.Cut(s.phrases[0].text, " ")
	if table, ok := mishaps[first]; ok {
		return r.readMishap(s, t, at, first, table)
	}
	return r.readEvent(s, t, at)
}

// readEvent reads a line of the cellar log and what it does to the tank.
func (r *reader) readEvent(s statement, t *Tank, at time.Time) error {
	said := words(s.phrases[0].text)
	e, err := detect.ParseFields(t.Model.Name, said[0], said[1:], at)
	if err != nil {
		return faultAt(s.phrases[0].line, "%s", err)
	}
	if e.ID != "" || e.By != "" || !e.Time.Equal(at) {
		return faultAt(s.phrases[0].line, "%s: leave time, id and by out: the time stands before it", e.Name)
	}
	var d deed
	if err := fill(&d, e.Name, s.phrases[1:], append(logClauses[:len(logClauses):len(logClauses)], eventExtra[e.Name]...)); err != nil {
		return err
	}
	if d.notLogged && (d.onlyLogged || d.told > 0) {
		return faultAt(s.line, "%s: it is not logged and yet told: take one of the two out", e.Name)
	}
	after := at.Sub(r.out.Start)
	if do := d.really(e, t.Model.Name); do != nil && !d.onlyLogged {
		t.Model.Script = append(t.Model.Script, cellarsim.Act{At: after, Do: do, Unlogged: true})
	}
	if !d.notLogged {
		told := cellarsim.Line{Event: e.Name, Amounts: e.Amounts, Words: e.Words}
		t.Model.Script = append(t.Model.Script, cellarsim.Act{At: after, Do: told, Told: d.told})
	}
	return nil
}

// really is what an event does to the tank; nil where it does nothing.
func (d deed) really(e detect.Event, tank string) cellarsim.Deed {
	volume, _ := e.Amount("volume")
	switch e.Name {
	case "vent":
		if held, ok := e.Amount("pressure"); ok && held > 0 {
			return cellarsim.SpundAt{KPa: held}
		}
		return cellarsim.Vent{}
	case "seal":
		return cellarsim.Seal{Air: d.air}
	case "gas":
		return d.gas(e)
	case "rouse":
		if d.kPa > 0 {
			return cellarsim.Rouse{KPa: d.kPa}
		}
	case "dry-hop":
		return cellarsim.Hop{Grams: e.Amounts["mass"], Leach: d.plato, Active: e.Word("kind") == "active"}
	case "hops-off", "yeast-off", "sample", "empty":
		return cellarsim.Dump{Liters: volume}
	case "transfer", "package":
		return cellarsim.Transfer{To: tank, Liters: volume, Over: d.over}
	case "crash", "rest":
		if setpoint, ok := e.Amount("setpoint"); ok {
			return cellarsim.Crash{Celsius: setpoint, Over: d.over}
		}
	case "add":
		return cellarsim.Add{Plato: d.plato}
	case "pitch":
		return d.pitch(e)
	}
	return nil
}

func (d deed) gas(e detect.Event) cellarsim.Deed {
	if held, ok := e.Amount("hold"); ok && held > 0 {
		return cellarsim.GasHold{KPa: held, CreepPerHour: d.kPa}
	}
	if to, ok := e.Amount("to"); ok {
		return cellarsim.TopUp{KPa: to, Stone: d.stone}
	}
	if e.Word("hold") == "off" {
		return cellarsim.GasOff{}
	}
	return nil
}

// pitch is a primary fermentation; where the log gives no gravity, it is one that nobody models.
func (d deed) pitch(e detect.Event) cellarsim.Deed {
	original, end := e.Amounts["gravity"], e.Amounts["expected"]
	if original == 0 || end == 0 || end > original {
		return nil
	}
	p := cellarsim.Pitch{Original: beer.ApparentPlato(original), End: max(0, beer.ApparentPlato(end)), Half: d.half, Spread: d.spread}
	if p.Half == 0 {
		p.Half = 48 * time.Hour
	}
	if p.Spread == 0 {
		p.Spread = 12 * time.Hour
	}
	return p
}
