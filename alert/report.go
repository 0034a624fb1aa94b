package alert

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// happening is what became of one incident, kept for the morning reports.
type happening struct {
	Last   Transition `json:"last"`
	Raised time.Time  `json:"raised"`
	Called bool       `json:"called,omitempty"` // one that was only ever explained is not worth a line
	SeenBy string     `json:"seen_by,omitempty"`
	SeenAt time.Time  `json:"seen_at,omitzero"`
}

// What a morning report holds at most.
const (
	nightKept      = 36 * time.Hour // of incidents that are over
	happeningsKept = 500            // a cellar with more has other worries than its report
	happeningLines = 2              // of a tank, below the one with its figures
	freshFigures   = 6 * time.Hour
)

// note keeps a step for the morning report, where somebody gets one.
func (a *annunciator) note(t Transition) {
	if !slices.ContainsFunc(a.policy.Webhooks, func(h Webhook) bool { return h.Report != nil }) {
		return
	}
	i := slices.IndexFunc(a.state.Night, func(h *happening) bool { return h.Last.ID == t.ID })
	if i < 0 {
		a.state.Night = append(a.state.Night, &happening{Raised: t.Time})
		i = len(a.state.Night) - 1
	}
	h := a.state.Night[i]
	h.Last, h.Called = t, h.Called || t.To == Unacknowledged
	if t.To == Acknowledged || t.From == Returned && t.To == Normal && t.By != "" {
		h.SeenBy, h.SeenAt = cmp.Or(t.By, "somebody"), t.Time
	}
	if len(a.state.Night) > happeningsKept {
		a.state.Night = slices.Delete(a.state.Night, 0, 1)
	}
}

// report tells the morning report to whoever is due for it. The first morning after a start that follows nothing only
// begins the night.
func (a *annunciator) report(at time.Time, view func() View) {
	for _, hook := range a.policy.Webhooks {
		if hook.Report == nil || a.state.Silent {
			continue
		}
		l := a.line(hook.Name)
		if l.Reported.IsZero() {
			l.Reported = at
		}
		day := a.local(at)
		minutes := int(*hook.Report / time.Minute)
		due := time.Date(day.Year(), day.Month(), day.Day(), minutes/60, minutes%60, 0, 0, day.Location())
		if at.Before(due) || !l.Reported.Before(due) {
			continue
		}
		since := detect.Later(l.Reported, at.Add(-24*time.Hour))
		l.Reported = at
		a.out = append(a.out, bulletinTo(hook.Name, a.words.report(a.state.Night, view(), since, at), at))
	}
	a.state.Night = slices.DeleteFunc(a.state.Night, func(h *happening) bool {
		return h.Last.To == Normal && at.Sub(h.Last.Time) > nightKept
	})
}

// report is the morning report: what happened per tank, in three lines at most; what is kept quiet; which probe needs
// a hand.
func (w Words) report(night []*happening, view View, since, at time.Time) Message {
	m := newBulletin(KindReport, at, detect.Low)
	byTank := map[string][]*happening{}
	for _, h := range night {
		if (h.Last.To != Normal || !h.Last.Time.Before(since)) && h.Called {
			tank := h.Last.Tank
			if !view.Has(tank) { // a barometer
				tank = ""
			}
			byTank[tank] = append(byTank[tank], h)
		}
	}
	var quiet []string
	busy := 0
	m.Lines = append(m.Lines, w.happenings("Cellar", byTank[""], at)...)
	for _, t := range view.Tanks {
		happened := byTank[t.Tank]
		if len(happened) == 0 {
			quiet = append(quiet, t.Tank)
			continue
		}
		busy++
		m.Lines = append(m.Lines, w.figures(t, at))
		m.Lines = append(m.Lines, w.happenings("", happened, at)...)
	}
	if len(quiet) > 0 {
		m.Lines = append(m.Lines, "Nothing happened in "+strings.Join(quiet, ", "))
	}
	if strings.Contains(strings.Join(m.Lines, "\n"), holdPoint) {
		m.Lines = append(m.Lines, "Stages and hold points are by the log and the newest reading; the curves were not judged for this: see each tank's report")
	}
	m.Lines = append(append(m.Lines, w.shelved(view, at)...), w.probes(view, at)...)
	m.Summary = fmt.Sprintf("Morning report of %s: %s", w.When(at, at.AddDate(0, 0, 1)), tally(busy, len(quiet), len(byTank[""]), calling(view)))
	return m
}

// tally is the night in one line.
func tally(busy, quiet, cellar, calling int) string {
	if busy+cellar == 0 {
		return fmt.Sprintf("a quiet night in %s", count(quiet, "tank"))
	}
	text := fmt.Sprintf("alarms in %s, %d quiet", count(busy, "tank"), quiet)
	if cellar > 0 {
		text += ", and of the cellar itself"
	}
	if calling > 0 {
		text += fmt.Sprintf("; unanswered: %d", calling)
	}
	return text
}

// count writes a number of things.
func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// calling counts the alarms that nobody has answered.
func calling(view View) int {
	n := 0
	for _, i := range view.Incidents {
		if i.State == Unacknowledged {
			n++
		}
	}
	return n
}

// figures is a tank's line of what a brewer looks at first in the morning.
func (w Words) figures(t TankView, at time.Time) string {
	var parts []string
	for _, q := range []struct {
		quantity detect.Quantity
		unit     string
		kind     beer.Kind
	}{
		{detect.Gravity, w.Display.Gravity, beer.KindGravity}, {detect.Temperature, w.Display.Temperature, beer.KindTemperature},
		{detect.Pressure, w.Display.Pressure, beer.KindPressure},
	} {
		if latest, ok := t.Last[q.quantity]; ok && at.Sub(latest.Time) <= freshFigures {
			parts = append(parts, show(latest.Value, q.unit, q.kind))
		}
	}
	if len(parts) == 0 {
		parts = []string{"no fresh readings"}
	}
	line := t.Tank + ": " + strings.Join(parts, ", ")
	if stage := w.stage(t, at); stage != "" {
		line += "; " + stage
	}
	return line
}

// happenings are the lines of one tank's incidents, the most pressing first.
func (w Words) happenings(who string, hs []*happening, at time.Time) []string {
	hs = slices.Clone(hs)
	slices.SortStableFunc(hs, func(x, y *happening) int {
		return cmp.Or(cmp.Compare(y.Last.Priority.Rank(), x.Last.Priority.Rank()), x.Raised.Compare(y.Raised))
	})
	var lines []string
	for i, h := range hs {
		if i == happeningLines-1 && len(hs) > happeningLines {
			lines = append(lines, fmt.Sprintf("  and %d more, the next of them: %s", len(hs)-i, title(h.Last)))
			break
		}
		lines = append(lines, "  "+w.happened(h, at))
	}
	if who != "" && len(lines) > 0 {
		lines = append([]string{who + ":"}, lines...)
	}
	return lines
}

// happened is one incident in a line: when, what, who saw it, and how it stands.
func (w Words) happened(h *happening, at time.Time) string {
	line := w.When(h.Raised, at) + " " + Comma(title(h.Last))
	if h.SeenBy != "" {
		line += fmt.Sprintf(" seen by %s %s,", h.SeenBy, w.When(h.SeenAt, at))
	}
	switch h.Last.To {
	case Normal, Returned:
		return line + " over " + w.When(h.Last.Time, at)
	case Shelved:
		return line + " kept quiet"
	case Unacknowledged:
		return line + " NOT ANSWERED"
	}
	return line + " still on"
}

// shelved are the alarms that a person keeps quiet.
func (w Words) shelved(view View, at time.Time) []string {
	var lines []string
	for _, i := range view.Incidents {
		if i.State == Shelved {
			lines = append(lines, fmt.Sprintf("Quiet until %s: %s (%s)", w.When(i.Until, at), subjectAndTitle(i.transition()), i.Why))
		}
	}
	return lines
}

// probes are those that have fallen silent. Silence is the only sign of a flat battery that every probe gives.
func (w Words) probes(view View, at time.Time) []string {
	var lines []string
	for _, i := range view.Incidents {
		if i.Silence() {
			lines = append(lines, fmt.Sprintf("Look at the battery of %s (%s): not heard since %s", i.Probe, i.Tank, w.When(i.Onset, at)))
		}
	}
	return lines
}
