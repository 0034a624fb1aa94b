package page

import (
	"bytes"
	"fmt"
	"net/http"

	"spile/alert"
	"spile/alert/webhook"
)

// refreshEvery is how often a page that shows the present renews itself, in seconds. Pages with something to fill in
// never do.
const refreshEvery = 10

// frame is what stands around every page.
type frame struct {
	Title     string
	Here      string // the page's own path
	Site      string
	Notice    string
	Version   string
	Style     string
	Icon      string
	Script    string
	Live      bool   // the script keeps it fresh
	Watches   string // the tank whose changes matter to it; empty: any
	Refresh   int    // seconds; 0: the page stays as it is
	Still     bool
	Calls     int    // alarms that want an answer
	ReadOnly  string // why nothing can be written from here; empty where it can
	Token     bool   // writing needs the token
	SignedIn  bool
	Reasons   []string // why spile is not fully up
	StandsBy  bool     // another spile tells people
	ShelvedUp []alert.Incident
	Unreached []webhook.Standing // webhooks that fail
}

// frameFor fills the frame for a request. live: the page shows the present, and renews itself unless asked to be still.
func (s *Server) frameFor(r *http.Request, view alert.View, title string, live bool) frame {
	f := frame{
		Title: title, Here: r.URL.Path, Site: s.Site, Notice: s.Notice, Version: s.Version,
		Style: s.style.Path(), Icon: s.icon.Path(), Script: s.script.Path(),
		Token: s.guard.token != "", SignedIn: s.guard.signedIn(r, s.Clock()), StandsBy: !s.Speaks(),
	}
	if !f.Token {
		if err := s.guard.local(r); err != nil {
			f.ReadOnly = err.Error()
		}
	}
	f.Reasons = s.Ready()
	for _, standing := range s.Webhooks() {
		if standing.Failing {
			f.Unreached = append(f.Unreached, standing)
		}
	}
	for _, i := range view.Incidents {
		if i.State == alert.Unacknowledged {
			f.Calls++
		}
		if i.State == alert.Shelved && isVessel(i) {
			f.ShelvedUp = append(f.ShelvedUp, i)
		}
	}
	if live {
		f.Still = r.URL.Query().Has("still")
		if !f.Still {
			f.Refresh, f.Live = refreshEvery, true
		}
	}
	return f
}

// standing is what of the frame is not of any tank or alarm, and moves by itself.
func (s *Server) standing() any {
	var refused string // the same again and again, as in a flood, is no change
	if newest := s.refusedOfLate(); newest != nil {
		refused = newest.Topic + ": " + newest.Detail
	}
	return []any{s.Ready(), s.Speaks(), refused}
}

// show writes a page. It is made whole first, so that a fault in it still has a status.
func (s *Server) show(w http.ResponseWriter, r *http.Request, status int, page string, data any) error {
	var out bytes.Buffer
	if err := s.pages[page].ExecuteTemplate(&out, "layout", data); err != nil {
		return fmt.Errorf("write the page %s: %w", page, err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	s.deliver(w, r, status, keepTogether(out.Bytes()))
	return nil
}

// problemPage tells a person what is wrong.
func (s *Server) problemPage(w http.ResponseWriter, r *http.Request, p *problem) {
	data := struct {
		frame
		Text string
	}{s.frameFor(r, s.View(), "Not done", false), p.text}
	if p.status == http.StatusNotFound {
		data.Title = "Not here"
	}
	if err := s.show(w, r, p.status, "problem", data); err != nil {
		s.Log.Error("request failed", "path", r.URL.Path, "error", err)
		http.Error(w, p.text, p.status)
	}
}
