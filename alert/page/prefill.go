package page

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"spile/detect"
	"spile/detect/beer"
)

// prefilled is what a form begins with: what its address says and, where it puts a line of the log right, what that line
// said.
func (s *Server) prefilled(r *http.Request) (url.Values, error) {
	typed := url.Values{}
	for name, values := range r.URL.Query() {
		own := strings.HasPrefix(name, valueInput) || strings.HasPrefix(name, unitInput) || strings.HasPrefix(name, choiceInput)
		if own || slices.Contains([]string{"event", "time", "corrects"}, name) {
			typed[name] = values[:1]
		}
	}
	line := typed.Get("corrects")
	if line == "" {
		return typed, nil
	}
	events, err := s.Records.Log(r.Context(), r.PathValue("tank"))
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(events, func(e detect.Event) bool { return e.Line() == line })
	if i < 0 {
		return nil, missing("no line %q stands in this log", line)
	}
	s.fill(typed, events[i])
	return typed, nil
}

// fill puts a line's own words and figures into a form, in the units that people here read.
func (s *Server) fill(typed url.Values, e detect.Event) {
	typed.Set("time", e.Time.In(s.Zone).Format("2006-01-02T15:04"))
	kind, _ := detect.LookupEvent(e.Name)
	for _, f := range kind.Fields {
		if word := e.Word(f.Name); word != "" {
			if slices.Contains(f.Choices, word) {
				typed.Set(choiceInput+f.Name, word)
			} else {
				typed.Set(valueInput+f.Name, word)
			}
		}
		amount, given := e.Amount(f.Name)
		if !given {
			continue
		}
		unit := s.unitFor(f.Kind)
		if shown, err := beer.ToUnit(amount, unit, f.Kind); err == nil {
			typed.Set(valueInput+f.Name, strconv.FormatFloat(shown, 'g', 6, 64))
			typed.Set(unitInput+f.Name, unit)
		}
	}
}
