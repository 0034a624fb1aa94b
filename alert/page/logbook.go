package page

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"spile/alert"
	"spile/detect"
)

// log answers with a tank's cellar log, oldest first.
func (s *Server) log(w http.ResponseWriter, r *http.Request) error {
	tank := r.PathValue("tank")
	events, err := s.Records.Log(r.Context(), tank)
	if err != nil {
		return err
	}
	if len(events) == 0 && !known(s.View(), tank) {
		_, err := find(s.View(), tank)
		return err
	}
	return s.writeLines(w, r, events)
}

// writeLog keeps one event: 201 where it is new, 200 where it is kept already.
func (s *Server) writeLog(w http.ResponseWriter, r *http.Request) error {
	fields, err := readObject(r, false)
	if err != nil {
		return err
	}
	event, outcome, err := s.keep(r, fields)
	if err != nil {
		return err
	}
	status := http.StatusCreated
	if outcome == Repeat {
		status = http.StatusOK
	}
	writeJSON(w, status, map[string]any{"event": event, "echo": s.echo(event), "follows": s.follows(r, event)})
	return nil
}

// follows is what an act that was logged leads to.
func (s *Server) follows(r *http.Request, e detect.Event) []string {
	var out []string
	if line := unheard(s.View(), e.Tank); line != "" {
		out = append(out, line)
	}
	if s.Before != nil {
		out = append(out, s.Before(r.Context(), e)...)
	}
	return filled(out)
}

// unheard says that no probe was ever heard on a tank, and on which others one was: a slip of the pen leaves the tank that
// was meant without its dry-hop. Empty where one was, or none on any.
func unheard(view alert.View, tank string) string {
	var heard []string
	for _, t := range view.Tanks {
		switch {
		case len(t.Probes) == 0:
		case t.Tank == tank:
			return ""
		default:
			heard = append(heard, t.Tank)
		}
	}
	if len(heard) == 0 {
		return ""
	}
	return fmt.Sprintf("No probe was ever heard on %s: is that the tank? Heard are %s", tank, strings.Join(heard, ", "))
}

// keep reads an event for the tank that the path names and writes it.
func (s *Server) keep(r *http.Request, fields map[string]any) (event detect.Event, outcome string, err error) {
	event, err = detect.ParseEvent(r.PathValue("tank"), fields, s.Clock())
	if err != nil {
		return detect.Event{}, "", bad("%v", err)
	}
	if s.Doubt != nil { // here a person sees the answer; a line over MQTT is kept as it comes
		if err := s.Doubt(event); err != nil {
			return detect.Event{}, "", bad("%v", err)
		}
	}
	if err := s.replaces(r, event); err != nil {
		return detect.Event{}, "", err
	}
	outcome, err = s.Records.WriteLog(r.Context(), event)
	return event, outcome, err
}

// echo says an event back on the cellar's clock, every figure in both units, so that 58 degC is seen where 58 degF was
// meant.
func (s *Server) echo(e detect.Event) string {
	e.Time = e.Time.In(s.Zone)
	return e.Echo()
}

// figures is what an event holds beside its name and time, as echo says it; empty where it holds nothing.
func (s *Server) figures(e detect.Event) string {
	e.By = ""
	_, figures, _ := strings.Cut(s.echo(e), ": ")
	return figures
}

// known tells whether the view has a tank.
func known(view alert.View, tank string) bool {
	_, err := find(view, tank)
	return err == nil
}

// localTime reads what a browser's field for date and time gives, in the cellar's zone; empty is the zero time.
func (s *Server) localTime(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05"} {
		if t, err := time.ParseInLocation(layout, text, s.Zone); err == nil {
			return t, nil
		}
	}
	return time.Time{}, bad("time %q: choose it in the field, or write it as 2026-03-02T01:15", text)
}
