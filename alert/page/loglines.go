package page

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"strings"
	"time"

	"spile/detect"
)

// logLine is a line of the log as programs get it: the event, its short name, and whether it counts no more.
type logLine struct {
	event  detect.Event
	struck bool
}

// MarshalJSON writes the event with the two.
func (l logLine) MarshalJSON() ([]byte, error) {
	body, err := json.Marshal(l.event)
	if err != nil {
		return nil, err
	}
	more, err := json.Marshal(struct {
		Line   string `json:"line_name"`
		Struck bool   `json:"struck,omitempty"`
	}{l.event.Line(), l.struck})
	if err != nil {
		return nil, err
	}
	return append(append(bytes.TrimSuffix(body, []byte("}")), ','), more[1:]...), nil
}

// logColumns are the columns of a log as CSV. What an event holds beside its name stands in one column as people read
// it, and in another as JSON.
var logColumns = []string{"time", "arrived", "tank", "event", "by", "line_name", "struck", "says", "fields"}

// writeLines answers with a log: one JSON object, or a line each as NDJSON or CSV where the client likes those better.
func (s *Server) writeLines(w http.ResponseWriter, r *http.Request, events []detect.Event) error {
	struck := detect.Struck(events)
	lines := make([]logLine, len(events))
	for i, e := range events {
		lines[i] = logLine{e, struck[e.Line()]}
	}
	var out bytes.Buffer
	kind := preferred(r.Header.Values("Accept"), jsonType, ndjson, csvType)
	switch kind {
	case ndjson:
		encoder := json.NewEncoder(&out)
		for _, l := range lines {
			if err := encoder.Encode(l); err != nil {
				return err
			}
		}
	case csvType:
		if err := s.linesAsCSV(&out, lines); err != nil {
			return err
		}
		kind += "; charset=utf-8; header=present"
	default:
		writeJSON(w, http.StatusOK, map[string]any{"log": lines})
		return nil
	}
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(out.Bytes()) // the client has gone: nobody is left to tell
	return nil
}

func (s *Server) linesAsCSV(out *bytes.Buffer, lines []logLine) error {
	table := csv.NewWriter(out)
	if err := table.Write(logColumns); err != nil {
		return err
	}
	for _, l := range lines {
		e := l.event
		fields, err := json.Marshal(struct {
			Amounts map[string]float64 `json:"amounts,omitempty"`
			Words   map[string]string  `json:"words,omitempty"`
		}{e.Amounts, e.Words})
		if err != nil {
			return err
		}
		struck := ""
		if l.struck {
			struck = "struck"
		}
		err = table.Write([]string{
			e.Time.UTC().Format(time.RFC3339Nano), e.Arrived.UTC().Format(time.RFC3339Nano), e.Tank, e.Name, harmless(e.By),
			e.Line(), struck, harmless(s.figures(e)), string(fields),
		})
		if err != nil {
			return err
		}
	}
	table.Flush()
	return table.Error()
}

// harmless keeps a text that somebody typed from being run by the spreadsheet that opens it.
func harmless(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t", rune(text[0])) {
		return "'" + text
	}
	return text
}

// replaces refuses to put a line out of force that does not stand in the log.
func (s *Server) replaces(r *http.Request, e detect.Event) error {
	if e.Name != "strike" && e.Word("corrects") == "" {
		return nil
	}
	events, err := s.Records.Log(r.Context(), e.Tank)
	if err != nil {
		return err
	}
	if _, err := detect.Replaced(events, e); err != nil {
		return bad("%v", err)
	}
	return nil
}
