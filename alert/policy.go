package alert

import (
	"slices"
	"time"

	"spile/detect"
)

// Policy decides who is told of what, and when. The zero value tells nobody.
type Policy struct {
	Webhooks []Webhook
	Public   bool // messages carry a link to answer by, so that a call may go on until somebody does
	Wake     Wake
}

// Webhook is one way to tell somebody.
type Webhook struct {
	Name     string
	Priority detect.Priority // this and above; empty: all
	Hours    Hours           // when it may be used, by the cellar's clock; zero: at any hour
	Days     []time.Weekday  // the days on which these hours begin; empty: every day
	Repeat   time.Duration   // calls again after it, until somebody answers; 0: calls once
	Then     string          // the webhook that is called as well where nobody acknowledges ...
	After    time.Duration   // ... for so long
	Report   *time.Duration  // time of day of the morning report, whatever the hours; nil: none
}

// Hours is a stretch of the day, since midnight; where To is not after From it goes on into the next day.
type Hours struct{ From, To time.Duration }

// Wake says when beer that ferments again may wake somebody.
type Wake string

// Refermentation is high and wakes always, as the project's mission has it, until the brewer chooses WakeNear: then it
// is high only while the relief setting or a packaging run is near, and else medium and told by day.
const (
	WakeAlways Wake = "always"
	WakeNear   Wake = "near"
)

// Figures of the policy, our choice where nothing else is said.
const (
	unansweredCalls = 4                // repeats of a call that nobody can answer from where he is (common practice)
	dayBegins       = 7 * time.Hour    // by the cellar's clock: what need not wake anybody waits until then
	dayEnds         = 22 * time.Hour   //
	reliefNear      = 12 * time.Hour   // until the relief setting is reached: the night and the drive
	packagingNear   = 24 * time.Hour   // since a packaging run: what was filled is still in the house
	floodWindow     = 10 * time.Minute // ANSI/ISA-18.2, of a flood: it begins with more than ten new alarms in ten
	floodBegins     = 10               // minutes ...
	floodEnds       = 5                // ... and ends with fewer than five
)

// open tells whether the webhook may be used at a time of the cellar's clock.
func (h Webhook) open(at time.Time) bool {
	clock := sinceMidnight(at)
	on := func(d time.Weekday) bool { return len(h.Days) == 0 || slices.Contains(h.Days, d) }
	today, yesterday := on(at.Weekday()), on((at.Weekday()+6)%7)
	switch from, to := h.Hours.From, h.Hours.To; {
	case from == 0 && to == 0:
		return today
	case to > from:
		return today && clock >= from && clock < to
	default: // over midnight: the small hours belong to the day before
		return today && clock >= from || yesterday && clock < to
	}
}

// Reachable tells whether any webhook may be used at a time of the cellar's clock.
func (p Policy) Reachable(at time.Time) bool {
	return slices.ContainsFunc(p.Webhooks, func(h Webhook) bool { return h.open(at) })
}

// sinceMidnight is the time of day, as the clock on the wall shows it.
func sinceMidnight(at time.Time) time.Duration {
	return time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute +
		time.Duration(at.Second())*time.Second + time.Duration(at.Nanosecond())
}

// isDay tells whether what need not wake anybody may be told.
func isDay(at time.Time) bool { return Webhook{Hours: Hours{dayBegins, dayEnds}}.open(at) }

// mayWait tells of a call that is for everybody who hears of high, but not at night.
func (p Policy) mayWait(t Transition) bool {
	return p.Wake == WakeNear && t.Alarm == detect.Refermentation && !t.Priority.AtLeast(detect.High)
}

// isOf tells whether an alarm is about this webhook, to which word of it would not arrive.
func (t Transition) isOf(webhook string) bool { return t.Alarm == WebhookFailing && t.Probe == webhook }

// concerns tells whether a webhook hears of a call by itself.
func (p Policy) concerns(h Webhook, t Transition) bool {
	if t.isOf(h.Name) {
		return false
	}
	return t.Priority.AtLeast(h.Priority) || p.mayWait(t) && detect.High.AtLeast(h.Priority)
}

// mayCall tells whether a webhook may be used for a step now.
func (p Policy) mayCall(h Webhook, t Transition, at time.Time) bool {
	wakes := p.mayWait(t) && h.Priority.AtLeast(detect.High) // a webhook that asks for less chose its own hours
	return h.open(at) && (!wakes || isDay(at))
}

// isFollowUp tells whether a step that is no call is news to who was called: the end, and what another person did about
// it. An acknowledgement lets the others sleep, a shelving takes a watch away from all of them. Suppression, service,
// and an answer to what is already over ask nothing of anybody.
func isFollowUp(t Transition) bool {
	switch t.To {
	case Returned, Shelved:
		return true
	case Acknowledged:
		return t.From == Unacknowledged
	case Normal:
		return t.From == Unacknowledged || t.From == Acknowledged || t.From == Suppressed
	}
	return false
}
