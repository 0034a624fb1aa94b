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
			l.Flood, l.FloodAt, l.NextSum = true, at, at
		}
	case len(due) == 0 && len(l.Recent) < floodEnds:
		l.Flood = false
	}
	return l.Flood
}

// sum tells, on a whole minute, what has gathered in one message: with the first minute, then every ten, and with the
// next one where something critical is new. The first also names what was told by itself in the ten minutes before.
func (a *annunciator) sum(hook Webhook, l *line, due []owedTo, at time.Time) {
	critical := slices.ContainsFunc(due, func(d owedTo) bool {
		return d.party.Owed.To == Unacknowledged && d.party.Owed.Priority == detect.Critical
	})
	if len(due) == 0 || at.Before(l.NextSum) && !critical {
		return
	}
	var before []Message
	if l.NextSum.Equal(l.FloodAt) {
		before = a.rung(hook, at)
	}
	l.NextSum = at.Add(floodWindow)
	if only := due[0].party; len(due)+len(before) == 1 && (only.Called || only.Owed.To == Unacknowledged) {
		a.out = append(a.out, notice(hook.Name, *only.Owed, at, only.Sent))
	} else {
		a.out = append(a.out, bulletinTo(hook.Name, a.words.flood(gathered(due), before, at), at))
	}
	for _, d := range due {
		d.party.told(at)
	}
}

// rung lists what a webhook was called for within the window of a flood and nobody has answered.
func (a *annunciator) rung(hook Webhook, at time.Time) (out []Message) {
	for _, th := range a.state.Threads {
		p := th.Parties[hook.Name]
		if p != nil && p.Owed == nil && !p.Ringing.IsZero() && at.Sub(p.Rung) < floodWindow {
			out = append(out, Message{Transition: th.Last})
		}
	}
	return out
}

// gathered are the messages that are due, the most pressing first.
func gathered(due []owedTo) []Message {
	out := make([]Message, len(due))
	for i, d := range due {
		out[i] = *d.party.Owed
	}
	slices.SortStableFunc(out, func(x, y Message) int {
		return cmp.Or(cmp.Compare(x.To.need(), y.To.need()), cmp.Compare(y.Priority.Rank(), x.Priority.Rank()))
	})
	return out
}

// flood is the message that names many alarms: the new ones, then those that were told before.
func (w Words) flood(fresh, before []Message, at time.Time) Message {
	m := newBulletin(KindFlood, at, fresh[0].Priority)
	calls := len(before)
	for i, owed := range slices.Concat(fresh, before) {
		owed.Told = at
		line := w.Headline(owed)
		switch {
		case i >= len(fresh):
			line = "told before: " + line
		case owed.To == Unacknowledged:
			calls++
		}
		if owed.Priority.AtLeast(m.Priority) {
			m.Priority = owed.Priority
		}
		m.Alarms = append(m.Alarms, Named{
			ID: owed.ID, Tank: owed.Tank, Alarm: owed.Alarm, Probe: owed.Probe, Priority: owed.Priority, To: owed.To, Summary: owed.Summary,
		})
		m.Lines = append(m.Lines, line)
	}
	m.Summary = fmt.Sprintf("Cellar: %d alarms at once, the most pressing of the new ones is %s", calls, subjectAndTitle(fresh[0].Transition))
	if calls == 0 {
		m.Summary = fmt.Sprintf("Cellar: %d alarms have changed, none of them calls", len(fresh))
	}
	m.Lines = append(m.Lines, "Look first for what they have in common: power, glycol, network. Then answer each on the page of alarms.")
	return m
}
