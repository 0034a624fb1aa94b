package page

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"spile/detect"
	"spile/detect/beer"
)

// tankPage shows one tank with its open alarms and its log. Nothing on it is filled in, so it may renew itself.
func (s *Server) tankPage(w http.ResponseWriter, r *http.Request) error {
	view := s.View()
	t, err := find(view, r.PathValue("tank"))
	if err != nil {
		return err
	}
	events, err := s.Records.Log(r.Context(), t.Tank)
	if err != nil {
		return err
	}
	curves, err := s.figureOf(r, t.Tank)
	if err != nil {
		return err
	}
	newest := slices.Clone(events)
	slices.Reverse(newest)
	data := struct {
		frame
		card
		Curves  figure
		Holds   holds
		Log     []detect.Event
		Struck  map[string]bool // lines that count no more, by their short names
		Logged  string          // the event that was written a moment ago, said back
		Follows []string        // what it leads to
	}{
		frame: s.frameFor(r, view, t.Tank, true), card: s.card(t, s.changes(r.Context(), t.Tank)), Curves: curves,
		Holds: s.held.get(r.Context(), t.Tank, len(events)), Log: newest, Struck: detect.Struck(events),
	}
	data.Watches = t.Tank
	if id := r.URL.Query().Get("logged"); id != "" {
		if i := slices.IndexFunc(events, func(e detect.Event) bool { return e.ID == id }); i >= 0 {
			data.Logged, data.Follows = s.echo(events[i]), s.follows(r, events[i])
		}
	}
	return s.show(w, r, http.StatusOK, "tank", data)
}

// takes says what spile takes a tank for, so that a person can say "no".
func (s *Server) takes(t detect.Status) []string {
	var lines []string
	add := func(line string) { lines = append(lines, line) }
	if t.Empty {
		add("Empty.")
	}
	if !t.HandsOnUntil.IsZero() && t.HandsOnUntil.After(s.Clock()) {
		add("Hands on this tank until " + s.when(t.HandsOnUntil) + ": alarms of the beer wait, those of the vessel do not.")
	}
	if t.Gas == "" || t.Gas == detect.GasUnknown {
		add("How it holds its pressure is not known.")
	} else {
		add(capital(string(t.Gas)) + ".")
	}
	if t.SetpointCelsius != nil {
		add("Crashed to " + s.figure(*t.SetpointCelsius, beer.KindTemperature) + ".")
	}
	if !t.HoppedSince.IsZero() {
		add("Dry-hopped since " + s.when(t.HoppedSince) + ".")
	}
	if question := fahrenheit(t); question != "" {
		add(question)
	}
	if t.CO2Rate != nil {
		add(making(t.CO2Rate))
	}
	if why := mute(t); why != "" {
		add("Head pressure tells nothing of CO2 being made: " + why + ".")
	}
	if t.ReliefKPa > 0 {
		add("Pressure relief valve set at " + s.figure(t.ReliefKPa, beer.KindPressure) + ".")
	}
	return lines
}

// A figure between these, in degC, is hotter than yeast bears; in degF it is what beer has from near its freezing point to
// the warmest fermentation. Our choice; an empty tank that is cleaned hot is not asked about.
const (
	hottestBeer = 45
	warmestBeer = 100
)

// fahrenheit asks whether a thermometer left its unit out; empty where its figure is one that beer has.
func fahrenheit(t detect.Status) string {
	l, ok := t.Last[detect.Temperature]
	if !ok || t.Empty || l.Value <= hottestBeer || l.Value > warmestBeer {
		return ""
	}
	return fmt.Sprintf(`%.1f °C is too hot for beer: is %s in °F? Then let it say so, as {"value":%.1[1]f,"unit":"degF"}, or give the unit in a source.`,
		l.Value, l.Probe)
}

// mute says why a gauge tells nothing of what yeast makes; empty where it does, or where there is none.
func mute(t detect.Status) string {
	if _, gauge := t.Last[detect.Pressure]; !gauge || t.Empty {
		return ""
	}
	switch t.Gas {
	case detect.GasHeldBelow:
		return "gas is fed to this tank"
	case detect.GasHeldAbove:
		return "the valve lets go what is made"
	case detect.GasOpen, detect.GasClosed, detect.GasUnknown:
	}
	return ""
}

// making says how much CO2 is made, or that none is to be seen.
func making(rate *detect.Interval) string {
	if rate.Low <= 0 {
		return fmt.Sprintf("No CO2 is seen to be made (at most %.2f g/L a day).", max(rate.High, 0))
	}
	return "CO2 is made at " + bounds(rate, "%.2f g/L a day") + "."
}

// blind says what a tank is not watched for, and why.
func (s *Server) blind(t detect.Status) []string {
	var lines []string
	if t.ReliefKPa <= 0 {
		lines = append(lines, "Not watched for over-pressure: relief not given.")
	}
	for _, why := range t.Learning {
		lines = append(lines, capital(pretty(why)))
	}
	return lines
}

// logData is what the log form shows.
type logData struct {
	frame
	Tank    string
	Kinds   []detect.EventKind // to choose from, where none is chosen
	Kind    detect.EventKind
	Chosen  bool
	Inputs  []input
	Common  map[string]string // what was typed into the common fields
	Problem string
	Zone    string
}

// logForm lets a person choose an event, and then fill it in.
func (s *Server) logForm(w http.ResponseWriter, r *http.Request) error {
	id, err := s.newID()
	if err != nil {
		return err
	}
	typed, err := s.prefilled(r)
	if err != nil {
		return err
	}
	typed.Set("id", id)
	return s.showLogForm(w, r, http.StatusOK, typed, "")
}

// postLogForm writes the event, or shows the form again with what was typed and what is wrong with it.
func (s *Server) postLogForm(w http.ResponseWriter, r *http.Request) error {
	fields, err := s.eventFields(r.PostForm)
	if err == nil {
		var event detect.Event
		if event, _, err = s.keep(r, fields); err == nil {
			to := "/tanks/" + url.PathEscape(event.Tank) + "?still&logged=" + url.QueryEscape(event.ID)
			http.Redirect(w, r, to, http.StatusSeeOther)
			return nil
		}
	}
	p, isKnown := asProblem(err)
	if !isKnown {
		s.Log.Error("the log was not written", "tank", r.PathValue("tank"), "error", err)
	}
	return s.showLogForm(w, r, p.status, r.PostForm, p.text)
}

func (s *Server) showLogForm(w http.ResponseWriter, r *http.Request, status int, typed url.Values, problem string) error {
	tank := r.PathValue("tank")
	if !detect.ValidName(tank) {
		return missing("%q names no tank: %s", tank, detect.NameRule)
	}
	data := logData{
		frame: s.frameFor(r, s.View(), "Log for "+tank, false), Tank: tank, Kinds: detect.Logbook(),
		Problem: problem, Zone: s.Zone.String(), Common: map[string]string{},
	}
	for _, name := range []string{"id", "time", "note", "by", "corrects"} {
		data.Common[name] = typed.Get(name)
	}
	if event := typed.Get("event"); event != "" {
		if data.Kind, data.Chosen = detect.LookupEvent(event); !data.Chosen && problem == "" {
			data.Problem, status = "There is no event "+event+". Choose one of these.", http.StatusNotFound
		}
	}
	if data.Chosen {
		data.Inputs = s.inputs(data.Kind, typed)
	}
	return s.show(w, r, status, "log", data)
}
