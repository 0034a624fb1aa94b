package page

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"spile/alert"
	"spile/detect"
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
		began, err := s.Records.Began(r.Context())
		if err != nil {
			return err
		}
		from = alert.FiguresFrom(began, to)
	}
	if !to.After(from) {
		return bad("from=%s is not before to=%s", from.Format(time.RFC3339), to.Format(time.RFC3339))
	}
	f, err := s.figuresOf(r.Context(), from, to)
	if err != nil {
		return err
	}
	writeJSON(w, http.StatusOK, f)
	return nil
}

// figuresOf tells how the alarm system did from one moment to another.
func (s *Server) figuresOf(ctx context.Context, from, to time.Time) (alert.FiguresReport, error) {
	steps, err := s.Records.Steps(ctx, from.Add(-alert.FiguresLookBack), to)
	if err != nil {
		return alert.FiguresReport{}, err
	}
	return alert.Figures(steps, from.In(s.Zone), to.In(s.Zone)), nil
}

// burden is how the alarm system did of late, as people read it.
type burden struct {
	Stretch string // since when it is counted
	Facts   []fact
}

// burden counts over thirty days, or since spile began.
func (s *Server) burden(ctx context.Context) (burden, error) {
	began, err := s.Records.Began(ctx)
	if err != nil {
		return burden{}, err
	}
	to := s.Clock()
	from := alert.FiguresFrom(began, to)
	f, err := s.figuresOf(ctx, from, to)
	if err != nil {
		return burden{}, err
	}
	b := burden{Stretch: "The last " + detect.Spell(to.Sub(from))}
	if from.Equal(began) {
		b.Stretch += ", since spile began"
	}
	b.Facts = []fact{
		{"Calls", fmt.Sprintf("%d, or %.1f a day", f.Calls, f.CallsPerDay)},
		{"Of these between 22:00 and 07:00", strconv.Itoa(f.NightCalls)},
		{"Most within ten minutes", strconv.Itoa(f.MostInTenMin)},
	}
	if f.MedianSeconds > 0 {
		b.Facts = append(b.Facts, fact{"Half were answered within", detect.Spell(time.Duration(f.MedianSeconds * float64(time.Second)))})
	}
	add := func(name string, counts []alert.AlarmCount) {
		if len(counts) > 0 {
			b.Facts = append(b.Facts, fact{name, most(counts)})
		}
	}
	add("Called most", f.Top)
	add("Called three times within an hour", f.Chattering)
	add("Stood for more than a day", f.Stale)
	return b, nil
}

// mostNamed is how many alarms a line of figures names.
const mostNamed = 3

// most names the alarms that were counted most.
func most(counts []alert.AlarmCount) string {
	var names []string
	for _, c := range counts[:min(len(counts), mostNamed)] {
		name := strings.TrimSpace(c.Tank + " " + string(c.Alarm))
		if c.Count > 1 {
			name += fmt.Sprintf(" (%d)", c.Count)
		}
		names = append(names, name)
	}
	return strings.Join(names, ", ")
}
