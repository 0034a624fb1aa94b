package page

import (
	"net/http"
	"time"

	"spile/alert"
)

// The stretch of the figures where none is asked for is the least that ANSI/ISA-18.2 wants to see. Steps are read from
// further back, so that an alarm which stood all the while is known; how far is our choice.
const (
	figuresStretch  = 30 * 24 * time.Hour
	figuresLookBack = 90 * 24 * time.Hour
)

// figuresAnswer answers with how the alarm system did from one moment to another.
func (s *Server) figuresAnswer(w http.ResponseWriter, r *http.Request) error {
	values, err := parameters(r.URL.RawQuery, []string{"from", "to"})
	if err != nil {
		return err
	}
	from, err := moment("from", values["from"])
	if err != nil {
		return err
	}
	to, err := moment("to", values["to"])
	if err != nil {
		return err
	}
	if to.IsZero() {
		to = s.Clock()
	}
	if from.IsZero() {
		from = to.Add(-figuresStretch)
	}
	if !to.After(from) {
		return bad("from=%s is not before to=%s", from.Format(time.RFC3339), to.Format(time.RFC3339))
	}
	steps, err := s.Records.Steps(r.Context(), from.Add(-figuresLookBack), to)
	if err != nil {
		return err
	}
	writeJSON(w, http.StatusOK, alert.Figures(steps, from.In(s.Zone), to.In(s.Zone)))
	return nil
}
