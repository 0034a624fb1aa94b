package scenario

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/cellarsim"
)

// Scenario is one file, understood.
type Scenario struct {
	Name         string // of the file, in errors
	Start        time.Time
	Length       time.Duration
	Seed         uint64
	Weather      cellarsim.Weather
	Tanks        []Tank // none: it can only be held against a capture
	Expectations []Expectation

	dated  bool // the file says when it starts
	dayOne time.Time
}

// What holds where a file does not say.
const (
	usualDays = 3
	mostDays  = 60
)

// usualStart is when a scenario begins that does not say.
func usualStart() time.Time { return time.Date(2026, time.March, 2, 0, 0, 0, 0, time.UTC) }

// End is when the scenario is over.
func (s *Scenario) End() time.Time { return s.Start.Add(s.Length) }

// Settings are what spile is told of each tank.
func (s *Scenario) Settings() map[string]detect.Settings {
	out := make(map[string]detect.Settings, len(s.Tanks))
	for _, t := range s.Tanks {
		out[t.Model.Name] = t.Settings
	}
	return out
}

// Parse reads a file. An error names the file, the line and the mend.
func Parse(name, text string) (*Scenario, error) {
	r := reader{out: &Scenario{Name: name, Start: usualStart(), Length: usualDays * 24 * time.Hour, Seed: 1}}
	r.dayOne = midnight(r.out.Start)
	if err := r.read(text); err != nil {
		return nil, fmt.Errorf("%s:%w", name, err)
	}
	r.out.dayOne = r.dayOne
	return r.out, nil
}

// midnight is the beginning of a day, in the offset in which it was written.
func midnight(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, t.Location()).UTC()
}

// reader understands one statement after another.
type reader struct {
	out    *Scenario
	dayOne time.Time
	listed int // readings in lists, so far
}

func (r *reader) read(text string) error {
	all, err := statements(text)
	if err != nil {
		return err
	}
	for i, s := range all {
		if s.word == "cellar" && i > 0 {
			return faultAt(s.line, "cellar: it stands once, above everything else")
		}
		if err := r.take(s); err != nil {
			return err
		}
	}
	if len(r.out.Expectations) == 0 {
		return faultAt(1, "nothing is expected: end with \"expect nothing else above low\", or with an alarm that should come")
	}
	r.bind()
	return r.playable()
}

// bind lets expectations that name no tank speak of the only one there is.
func (r *reader) bind() {
	if len(r.out.Tanks) != 1 {
		return
	}
	for i := range r.out.Expectations {
		if e := &r.out.Expectations[i]; e.Tank == "" {
			e.Tank = r.out.Tanks[0].Model.Name
		}
	}
}

// take understands one statement.
func (r *reader) take(s statement) error {
	switch s.word {
	case "cellar":
		return r.readCellar(s)
	case "tank":
		return r.readTank(s)
	case "config":
		return r.readConfig(s)
	case "probe":
		return r.readProbe(s)
	case "list":
		return r.readList(s)
	case "at":
		return r.readAct(s)
	case "expect":
		return r.readExpectation(s)
	}
	known := []string{"cellar", "tank", "config", "probe", "list", "at", "expect"}
	if near := nearest(strings.ToLower(s.word), known); near != "" {
		return faultAt(s.line, "%s begins no statement: did you mean %q?", quoted(s.word), near)
	}
	return faultAt(s.line, "%s begins no statement: write one of %s", quoted(s.word), strings.Join(known, ", "))
}

// cellarClauses are of the whole scenario. It is read only.
var cellarClauses = []clause[Scenario]{
	{"days", count, 1, mostDays, func(s *Scenario, g given) { s.Length = time.Duration(g.figure) * 24 * time.Hour }},
	{"seed", count, 0, 1 << 32, func(s *Scenario, g given) { s.Seed = uint64(g.figure) }},
	{"weather", kPa, 0, 5, func(s *Scenario, g given) { s.Weather.Sigma = g.figure }},
	{"barometer", kPa, 50, 110, func(s *Scenario, g given) { s.Weather.MeanKPa = g.figure }},
}

func (r *reader) readCellar(s statement) error {
	var start, fronts given
	table := append(slices.Clone(cellarClauses), whenClauses(&start, &fronts)...)
	if err := fill(r.out, "cellar", s.phrases, table); err != nil {
		return err
	}
	if start.line > 0 {
		at, err := time.Parse(time.RFC3339, start.word)
		if err != nil {
			return faultAt(s.line, "cellar: start %s is no time: write RFC 3339, such as 2026-03-02T00:00:00Z", quoted(start.word))
		}
		r.out.Start, r.out.dated, r.dayOne = at.UTC().Truncate(time.Millisecond), true, midnight(at)
	}
	if fronts.line > 0 {
		return r.readFronts(fronts.line, fronts.word)
	}
	return nil
}

// whenClauses are of the whole scenario, too, and are understood once all of the cellar's are there: days and start say
// what the time of a front is.
func whenClauses(start, fronts *given) []clause[Scenario] {
	return []clause[Scenario]{
		{"start", text, 0, 0, func(_ *Scenario, g given) { *start = g }},
		{"fronts", text, 0, 0, func(_ *Scenario, g given) { *fronts = g }},
	}
}

func (r *reader) readTank(s statement) error {
	if !detect.ValidName(s.about) {
		return faultAt(s.line, "tank %s: %s", quoted(s.about), detect.NameRule)
	}
	if slices.ContainsFunc(r.out.Tanks, func(t Tank) bool { return t.Model.Name == s.about }) {
		return faultAt(s.line, "tank %s is there already: say all of it in one statement", s.about)
	}
	t := newTank(s.about)
	if err := fill(&t, "tank "+s.about, s.phrases, tankClauses); err != nil {
		return err
	}
	t.told()
	r.out.Tanks = append(r.out.Tanks, t)
	return nil
}

func (r *reader) readConfig(s statement) error {
	t, err := r.tank(s.line, s.about)
	if err != nil {
		return err
	}
	return fill(&t.Settings, "config "+t.Model.Name, s.phrases, configClauses)
}

// moment reads a time that stands alone.
func (r *reader) moment(line int, from []string) (time.Time, error) {
	m, rest, err := takeMoment(from)
	if err != nil {
		return time.Time{}, faultAt(line, "%s", err)
	}
	if len(rest) > 0 {
		return time.Time{}, faultAt(line, "%s is too much behind a time", quoted(strings.Join(rest, " ")))
	}
	return m.at(r.dayOne), nil
}

// playable makes sure that the model takes what the file says.
func (r *reader) playable() error {
	if len(r.out.Tanks) == 0 {
		return nil
	}
	if _, err := cellarsim.New(r.out.plan(), rand.New(rand.NewPCG(0, 0))); err != nil {
		return faultAt(1, "%s", err)
	}
	for _, t := range r.out.Tanks {
		if len(t.Model.Probes) == 0 && len(t.lists) == 0 {
			return faultAt(1, "tank %s has no probe: add one, as in \"probe hyd-1: float\"", t.Model.Name)
		}
	}
	return nil
}

// errNoTank says that there is nothing to play.
var errNoTank = errors.New("it has no tank, only expectations: hold it against a capture")
