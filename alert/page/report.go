package page

import (
	"bytes"
	"net/http"
	"net/url"
	"strings"
	"time"

	"spile/detect/batch"
)

// The forms in which a report is given.
const (
	jsonType  = "application/json"
	plainType = "text/plain"
	htmlType  = "text/html"
)

// report answers with the batch in a tank: as JSON, or as a page or text where the client likes those better.
func (s *Server) report(w http.ResponseWriter, r *http.Request) error {
	rep, err := s.reported(r)
	if err != nil {
		return err
	}
	switch preferred(r.Header.Values("Accept"), jsonType, htmlType, plainType) {
	case plainType:
		var page bytes.Buffer
		if err := rep.Text(&page, batch.Voice{Zone: s.Zone, Display: s.Display}); err != nil {
			return err
		}
		w.Header().Set("Content-Type", plainType+"; charset=utf-8")
		_, _ = w.Write(page.Bytes()) // the client has gone: nobody is left to tell
	case htmlType:
		return s.reportPage(w, r, rep)
	default:
		writeJSON(w, http.StatusOK, rep)
	}
	return nil
}

// holdsAnswer is where a batch is and what its hold points say.
type holdsAnswer struct {
	Tank       string            `json:"tank"`
	At         time.Time         `json:"at"`
	Stage      batch.Stage       `json:"stage"`
	HoldPoints []batch.HoldPoint `json:"hold_points"`
	Proposals  []batch.Proposal  `json:"proposals"`
}

// holds answers with the hold points alone.
func (s *Server) holds(w http.ResponseWriter, r *http.Request) error {
	rep, err := s.reported(r)
	if err != nil {
		return err
	}
	writeJSON(w, http.StatusOK, holdsAnswer{rep.Tank, rep.At, rep.Stage, rep.HoldPoints, rep.Proposals})
	return nil
}

// reported is the batch in the tank that the path names.
func (s *Server) reported(r *http.Request) (batch.Report, error) {
	t, err := find(s.View(), r.PathValue("tank"))
	if err != nil {
		return batch.Report{}, err
	}
	if s.Report == nil {
		return batch.Report{}, missing("nobody keeps batches here")
	}
	values, err := parameters(r.URL.RawQuery, []string{"at"})
	if err != nil {
		return batch.Report{}, err
	}
	at, err := moment("at", values["at"])
	if err != nil {
		return batch.Report{}, err
	}
	if at.IsZero() || s.ReportAt == nil {
		return s.Report(r.Context(), t.Tank)
	}
	return s.ReportAt(r.Context(), t.Tank, at)
}

// proposed is the form, filled in, that logs what the log seems to lack.
func (s *Server) proposed(p batch.Proposal) string {
	query := url.Values{"event": {p.Event}, "time": {p.Time.In(s.Zone).Format("2006-01-02T15:04")}}
	for field, value := range p.Field {
		figure, unit, _ := strings.Cut(value, " ")
		query.Set(valueInput+field, figure)
		query.Set(unitInput+field, unit)
	}
	return query.Encode()
}

// wholeReport shows the report's page to people.
func (s *Server) wholeReport(w http.ResponseWriter, r *http.Request) error {
	rep, err := s.reported(r)
	if err != nil {
		return err
	}
	return s.reportPage(w, r, rep)
}

// preferred is the kind that an Accept header likes best; the first wins a tie.
func preferred(accept []string, kinds ...string) string {
	best, most := kinds[0], 0.0
	for _, kind := range kinds {
		if q := likes(accept, kind); q > most {
			best, most = kind, q
		}
	}
	return best
}
