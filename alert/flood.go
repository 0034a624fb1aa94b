package alert

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"spile/detect"
)

// flooded counts the new alarms among what is due, and tells whether a webhook's messages are to be gathered into one:
// in a flood by the standard's measure, and where more than ten are due at one instant.
func (l *line) flooded(due []owedTo, at time.Time) bool {
	l.Recent = slices.DeleteFunc(l.Recent, func(t time.Time) bool { return at.Sub(t) >= floodWindow })
	for _, d := range due {
		if d.party.Owed.To == Unacknowledged && !d.party.Called && !d.party.Counted {
			d.party.Counted = true
			l.Recent = append(l.Recent, at)
		}
	}
	switch {
	case len(l.Recent) > floodBegins || len(due) > floodBegins:
		if !l.Flood {
			l.Flood, l.NextSum = true, at
		}
	case len(due) == 0 && len(l.Recent) < floodEnds:
		l.Flood = false
	}
	return l.Flood
}

// sum tells, on a whole minute, what has gathered in one message: with the first minute, then every ten, and with the
// next one where something critical is new.
func (a *annunciator) sum(hook Webhook, l *line, due []owedTo, at time.Time) {
	critical := slices.ContainsFunc(due, func(d owedTo) bool {
		return d.party.Owed.To == Unacknowledged && d.party.Owed.Priority == detect.Critical
	})
	if len(due) == 0 || at.Before(l.NextSum) && !critical {
		return
	}
	l.NextSum = at.Add(floodWindow)
	if len(due) == 1 && (due[0].party.Called || due[0].party.Owed.To == Unacknowledged) {
		a.out = append(a.out, notice(hook.Name, *due[0].party.Owed, at))
	} else {
		a.out = append(a.out, bulletinTo(hook.Name, a.words.flood(due, at), at))
	}
	for _, d := range due {
		d.party.told(at)
	}
}

// flood is the message that names many alarms, the most pressing first.
func (w Words) flood(due []owedTo, at time.Time) Message {
	slices.SortStableFunc(due, func(x, y owedTo) int {
		return cmp.Or(
			cmp.Compare(x.party.Owed.To.need(), y.party.Owed.To.need()),
			cmp.Compare(y.party.Owed.Priority.Rank(), x.party.Owed.Priority.Rank()),
		)
	})
	m := newBulletin(KindFlood, at, due[0].party.Owed.Priority)
	calls := 0
	for _, d := range due {
		owed := *d.party.Owed
		if owed.To == Unacknowledged {
			calls++
		}
		if owed.Priority.AtLeast(m.Priority) {
			m.Priority = owed.Priority
		}
		m.Alarms = append(m.Alarms, Named{
			ID: owed.ID, Tank: owed.Tank, Alarm: owed.Alarm, Probe: owed.Probe, Priority: owed.Priority, To: owed.To, Summary: owed.Summary,
		})
		m.Lines = append(m.Lines, w.Headline(owed))
	}
	m.Summary = fmt.Sprintf("Cellar: %d alarms at once, the most pressing is %s", calls, subjectAndTitle(due[0].party.Owed.Transition))
	if calls == 0 {
		m.Summary = fmt.Sprintf("Cellar: %d alarms have changed, none of them calls", len(due))
	}
	m.Lines = append(m.Lines, "Look first for what they have in common: power, glycol, network. Then answer each on the page of alarms.")
	return m
}
