package page

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"spile/alert"
	"spile/alert/webhook"
)

// pastShown is how many past alarms one page lists.
const pastShown = 100

// alarmsPage shows the alarms that stand and, below them, those that are over; with ?before= only those that were raised
// ahead of one, by its id.
func (s *Server) alarmsPage(w http.ResponseWriter, r *http.Request) error {
	before := r.URL.Query().Get("before")
	data := struct {
		frame
		Standing []alert.Incident
		Past     []alert.Incident
		Back     bool   // only what is further back
		Older    string // the address of what is older still; empty: nothing is
		Webhooks []webhook.Standing
		Burden   burden
		Behind   string // what keeps the copy of the readings behind
		Since    time.Time
	}{frame: s.frameFor(r, s.View(), "Alarms", before == ""), Back: before != "", Webhooks: s.Webhooks()}
	past, more, err := s.Records.Past(r.Context(), before, pastShown)
	if err != nil {
		return err
	}
	if data.Past = past; more {
		data.Older = "/alarms?" + url.Values{"before": {past[len(past)-1].ID}}.Encode()
	}
	if data.Back {
		return s.show(w, r, http.StatusOK, "alarms", data)
	}
	if data.Standing, err = s.openAlarms(r.Context()); err != nil {
		return err
	}
	if s.Copying != nil {
		data.Behind, data.Since = s.Copying()
	}
	if data.Burden, err = s.burden(r.Context()); err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, "alarms", data)
}

// quiet is a length of time that a person can choose for shelving.
type quiet struct {
	Value string // as the API takes it
	Words string
}

// quiets are the lengths that fit an alarm.
func quiets(i alert.Incident) []quiet {
	all := []struct {
		length time.Duration
		quiet
	}{
		{30 * time.Minute, quiet{"30m", "for 30 minutes"}},
		{time.Hour, quiet{"1h", "for 1 hour"}},
		{4 * time.Hour, quiet{"4h", "for 4 hours"}},
		{12 * time.Hour, quiet{"12h", "for 12 hours"}},
		{24 * time.Hour, quiet{"24h", "for a day"}},
		{72 * time.Hour, quiet{"72h", "for three days"}},
	}
	var fit []quiet
	for _, q := range all {
		if q.length <= shelvingLimit(i) {
			fit = append(fit, q.quiet)
		}
	}
	return fit
}

// alarmData is what the page of one alarm shows.
type alarmData struct {
	frame
	Incident alert.Incident
	Steps    []alert.Transition
	Facts    []fact
	Quiets   []quiet
	Vessel   bool
	OfTank   bool   // there is a page of its tank
	Pass     string // of the link in a message: the button needs no token; empty: there is none, or it has run out
	RunOut   bool   // a pass came that is no good
	Why      string // what was typed, where it did not do
	Problem  string
}

// alarmPage shows one alarm and the buttons that answer it.
func (s *Server) alarmPage(w http.ResponseWriter, r *http.Request) error {
	return s.showAlarm(w, r, http.StatusOK, "")
}

func (s *Server) showAlarm(w http.ResponseWriter, r *http.Request, status int, problem string) error {
	incident, steps, err := s.Records.Alarm(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	name := capital(incident.Title())
	if incident.Tank != "" {
		name = incident.Tank + ": " + incident.Title()
	}
	view := s.View()
	data := alarmData{
		frame: s.frameFor(r, view, name, false), Incident: incident, OfTank: view.Has(incident.Tank), Steps: steps,
		Facts: s.facts(incident.Evidence), Quiets: quiets(incident), Vessel: isVessel(incident), Why: r.PostForm.Get("why"), Problem: problem,
	}
	data.Pass, data.RunOut = s.passOf(r)
	data.Live, data.Watches = r.Method == http.MethodGet, incident.Tank
	return s.show(w, r, status, "alarm", data)
}

// backToAlarm answers for the address of a button that somebody opened or reloaded as a page.
func (s *Server) backToAlarm(w http.ResponseWriter, r *http.Request) error {
	s.toAlarm(w, r)
	return nil
}

func (s *Server) toAlarm(w http.ResponseWriter, r *http.Request) {
	http.Redirect(w, r, "/alarms/"+url.PathEscape(r.PathValue("id")), http.StatusSeeOther)
}

// postAcknowledge acknowledges at the press of a button.
func (s *Server) postAcknowledge(w http.ResponseWriter, r *http.Request) error {
	return s.pressed(w, r, s.Records.Acknowledge)
}

// postUnshelve lets a quiet alarm speak again.
func (s *Server) postUnshelve(w http.ResponseWriter, r *http.Request) error {
	return s.pressed(w, r, s.Records.Unshelve)
}

// pressed does what a button says.
func (s *Server) pressed(
	w http.ResponseWriter, r *http.Request, do func(ctx context.Context, id, by, why string) (alert.Incident, error),
) error {
	road := "page"
	if s.hasPass(r) {
		road = "link"
	}
	by, why, err := person(formFields(r.PostForm), road)
	if err == nil {
		_, err = do(r.Context(), r.PathValue("id"), by, why)
	}
	return s.acted(w, r, err)
}

// postShelve keeps an alarm quiet.
func (s *Server) postShelve(w http.ResponseWriter, r *http.Request) error {
	_, err := s.shelveAlarm(r.Context(), r.PathValue("id"), formFields(r.PostForm), "page")
	return s.acted(w, r, err)
}

// acted shows the alarm as the act left it, or with what is wrong.
func (s *Server) acted(w http.ResponseWriter, r *http.Request, err error) error {
	if err == nil {
		s.toAlarm(w, r)
		return nil
	}
	p, isKnown := asProblem(err)
	if !isKnown {
		return err
	}
	if failed := s.showAlarm(w, r, p.status, p.text); failed != nil {
		return err // there is no such alarm to show it on
	}
	return nil
}

// formFields are a form's inputs as a request in JSON would have them; an input left empty is absent.
func formFields(form url.Values) map[string]any {
	fields := make(map[string]any, len(form))
	for name := range form {
		if v := form.Get(name); v != "" {
			fields[name] = v
		}
	}
	return fields
}
