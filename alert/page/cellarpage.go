package page

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"spile/alert"
	"spile/detect"
)

// silentAfter is from when a tank counts as silent on the page once its watch says so of a probe: the least that
// probe-silent waits for.
const silentAfter = 45 * time.Minute

// staleAfter is when a value on the page says how old it is.
const staleAfter = 15 * time.Minute

// card is a tank as the pages show it.
type card struct {
	alert.TankView
	Values []value
	Heard  time.Time // newest arrival from any probe in it; zero: nothing was heard
	Silent bool
	Takes  []string // what spile takes the tank for
	Blind  []string // what it is not watched for, and why
	Lines  []probeLine
}

// value is a figure on a card.
type value struct {
	Name   string
	Number string
	Unit   string
	Probe  string
	Time   time.Time
	Stale  bool
	Trend  string // how it changed; empty: not known
}

// cellarPage shows every tank, the one in most need first.
func (s *Server) cellarPage(w http.ResponseWriter, r *http.Request) error {
	view := s.View()
	data := struct {
		frame
		Headline string
		Cards    []card
		Cellar   []alert.Incident // alarms of no one tank, and those of probes outside
		Air      []string         // what each probe outside said last
		Refused  *Refusal         // the newest of late; it stands for the others
	}{frame: s.frameFor(r, view, "Cellar", true), Cards: s.cards(r.Context(), view), Cellar: view.OfNoTank(), Refused: s.refusedOfLate()}
	for _, a := range view.Air {
		data.Air = append(data.Air, alert.Words{Display: s.Display}.Air(a, s.Clock()))
	}
	data.Headline = headline(data.Calls, data.Cards)
	return s.show(w, r, http.StatusOK, "cellar", data)
}

// refusedShown is for how long the first page says that a message could not be taken.
const refusedShown = time.Hour

// refusedOfLate is the newest message that was meant for spile and could not be taken; nil: none was. Who sets a probe up
// waits for its tank on this page. What other programs say on topics of their own is not meant for spile.
func (s *Server) refusedOfLate() *Refusal {
	for _, r := range s.Records.Refusals() {
		if s.Clock().Sub(r.Time) <= refusedShown && (r.Source != "none" || strings.HasPrefix(r.Topic, "cellar/")) {
			return &r
		}
	}
	return nil
}

// headline says in one sentence how the cellar is.
func headline(calls int, cards []card) string {
	silent := 0
	for _, c := range cards {
		if c.Silent {
			silent++
		}
	}
	var text string
	switch {
	case calls == 1:
		text = "One alarm wants an answer."
	case calls > 1:
		text = fmt.Sprintf("%d alarms want an answer.", calls)
	case len(cards) == 0:
		return "No tank has been heard yet."
	default:
		text = "No alarm wants an answer."
	}
	switch silent {
	case 0:
	case 1:
		text += " One tank is silent: nobody watches it."
	default:
		text += fmt.Sprintf(" %d tanks are silent: nobody watches them.", silent)
	}
	return text
}

// cards are the tanks in order of need: by the most pressing alarm that stands open, then the silent, then by name.
func (s *Server) cards(ctx context.Context, view alert.View) []card {
	changes := s.changes(ctx, "")
	cards := make([]card, 0, len(view.Tanks))
	for _, t := range view.Tanks {
		cards = append(cards, s.card(t, changes))
	}
	slices.SortStableFunc(cards, func(a, b card) int {
		return cmp.Or(
			cmp.Compare(b.need(), a.need()),
			cmp.Compare(number(b.Silent), number(a.Silent)),
			cmp.Compare(a.Tank, b.Tank),
		)
	})
	return cards
}

func number(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// need is how much a tank's open alarms press: priority first, then whether somebody knows already.
func (c card) need() int {
	most := 0
	for _, i := range c.Incidents {
		switch i.State {
		case alert.Unacknowledged:
			most = max(most, 2*i.Priority.Rank()+1)
		case alert.Acknowledged, alert.Returned:
			most = max(most, 2*i.Priority.Rank())
		}
	}
	return most
}

// Cautions are what can hurt at the tank while its alarms stand, in one breath and each once.
func (c card) Cautions() []string {
	var all []string
	for _, i := range c.Incidents {
		brief := about(i.Alarm).Caution
		if i.State != alert.Suppressed && brief != "" && !slices.Contains(all, brief) {
			all = append(all, brief)
		}
	}
	return all
}

// changes are the trends of a tank or, without a name, of all; or none: a page is worth more than its trends.
func (s *Server) changes(ctx context.Context, tank string) map[probed]float64 {
	changes, err := s.trends.get(ctx, tank)
	if err != nil && ctx.Err() == nil {
		s.Log.Error("trends are not known", "error", err)
	}
	return changes
}

func (s *Server) card(t alert.TankView, changes map[probed]float64) card {
	c := card{TankView: t, Lines: s.probeLines(t.Status)}
	for _, p := range t.Probes {
		if !p.Out && !p.Outside && p.LastHeard.After(c.Heard) {
			c.Heard = p.LastHeard
		}
	}
	now := s.Clock()
	quiet := now.Sub(c.Heard)
	c.Silent = !t.Empty && (quiet > alert.SilentAtAll || quiet > silentAfter && slices.ContainsFunc(t.Incidents, alert.Incident.Silence))
	for _, q := range detect.Quantities() {
		if l, ok := t.Last[q]; ok {
			v := s.value(q, l, now)
			if change, known := changes[probed{t.Tank, l.Probe, q}]; known {
				v.Trend = s.trend(q, l.Value, change)
			}
			c.Values = append(c.Values, v)
		}
	}
	c.Takes, c.Blind = s.takes(t.Status), s.blind(t.Status)
	return c
}

func (s *Server) value(q detect.Quantity, l detect.Latest, now time.Time) value {
	v := value{Name: string(q), Probe: l.Probe, Time: l.Time, Stale: now.Sub(l.Time) > staleAfter}
	v.Number, v.Unit, _ = strings.Cut(s.figure(l.Value, kindOf(q)), " ")
	return v
}
