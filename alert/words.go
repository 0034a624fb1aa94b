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

// Words write what people read, by the cellar's clock and in its units. The zero value writes UTC and inside units.
type Words struct {
	Zone    *time.Location
	Display detect.Display
}

// Headline says in one line which tank, what, and since when.
func (w Words) Headline(m Message) string {
	switch {
	case m.Test:
		return "TEST: spile can reach you. Nothing is wrong."
	case m.Kind != KindAlarm:
		return m.Summary
	}
	since := began(m.Onset, m.Time)
	line := fmt.Sprintf("%s: %s%s%s", subject(m.Transition), w.lead(m.Transition), pressed(m), title(m.Transition))
	switch {
	case m.To != Unacknowledged:
		return line
	case strings.HasSuffix(line, "?"):
		return line + " Since " + w.When(since, m.at())
	}
	return line + ", since " + w.When(since, m.at())
}

// Text is what fits a lock screen, a line each: the headline; the evidence, in one number a brewer knows; what to look
// at first; and where somebody can be hurt, the caution. Other messages than an alarm's have lines of their own.
func (w Words) Text(m Message) string {
	switch {
	case m.Test:
		return w.Headline(m) + "\nSent by hand to try this webhook.\nNobody needs to go to the cellar."
	case m.Kind != KindAlarm:
		return strings.Join(append([]string{m.Summary}, m.Lines...), "\n")
	}
	d, _ := Define(m.Alarm)
	lines := []string{w.Headline(m), cmp.Or(w.figure(m.Transition, m.at()), m.Summary, meaning(m.Transition)), advice(m.Transition), d.Caution}
	if isOver(m.To) && asks(m.Transition) {
		lines = lines[:2] // a question that is over leaves nothing to do at the tank
	}
	return strings.Join(slices.DeleteFunc(lines, func(line string) bool { return line == "" }), "\n")
}

// pressed says why a call comes that no step of the alarm led to.
func pressed(m Message) string {
	switch {
	case m.Unanswered != "":
		return m.Unanswered + " did not answer: "
	case m.Repeat > 0:
		return fmt.Sprintf("call %d: ", m.Repeat+1)
	}
	return ""
}

// figure is the evidence in one number, the one by which a brewer knows the alarm; empty where there is none. Where the
// summary says how soon, or what to do, it stands for the number; so it does where it says how the alarm ended.
func (w Words) figure(t Transition, now time.Time) string {
	e, one := t.Evidence, detect.Evidence{Joined: t.Evidence.Joined}
	if isOver(t.To) && t.Why == "" && t.Summary != "" {
		return said(t)
	}
	switch t.Alarm {
	case detect.Refermentation, detect.NotFinished:
		if r := e.RatePlatoPerDay; r != nil && r.Value >= 0 && r.Value < detect.AllButStands {
			break // the summary says what it has done until now
		}
		if one.RatePlatoPerDay = e.RatePlatoPerDay; e.RatePlatoPerDay == nil {
			one.CO2GramsPerLiterDay = e.CO2GramsPerLiterDay
		}
		if f := e.Forecast; f != nil && f.LimitReached != nil && f.LimitReached.Low.Sub(now) < soonReached {
			one.Forecast = f
		}
	case detect.OverPressure, detect.Vacuum, detect.CrashDrift, detect.FreezeRisk, detect.ProbeSilent:
		return strings.Join(append([]string{said(t)}, w.Facts(one, now)...), "; ")
	case detect.PressureRise:
		if e.ExplainedPressureKPa == nil {
			break // the summary says why nobody knows
		}
		one.PressureKPa, one.ExplainedPressureKPa = e.PressureKPa, e.ExplainedPressureKPa
	case detect.Leak:
		if asksWhereItWent(t) {
			return said(t)
		}
		one.PressureKPa = e.PressureKPa
	case CoolingPlant:
		return strings.Join(e.Witnesses, "; ")
	}
	return strings.Join(w.Facts(one, now), ", ")
}

// soonReached is from when on a call of fermentation says when the relief setting comes.
const soonReached = 24 * time.Hour

// said is the summary without the tank, which the headline names.
func said(t Transition) string { return strings.TrimPrefix(t.Summary, t.Tank+": ") }

// subject is the tank, and how much it presses where that is most of all.
func subject(t Transition) string {
	name := t.Tank
	if name == "" {
		name = "Cellar"
	}
	if t.Priority == detect.Critical && t.To == Unacknowledged {
		name += " (critical)"
	}
	return name
}

// subjectAndTitle is which tank and what, without what happened to it.
func subjectAndTitle(t Transition) string { return cmp.Or(t.Tank, "Cellar") + ": " + title(t) }

// title is the catalogue's, naming the probe, the webhook or the tanks it is about, and the side of the setpoint; or a
// question.
func title(t Transition) string {
	d, ok := Define(t.Alarm)
	if !ok {
		return string(t.Alarm)
	}
	switch e := t.Evidence; {
	case t.Alarm == CoolingPlant && t.Summary != "":
		return t.Summary // it names the tanks
	case t.Alarm == detect.OverPressure && e.PressureKPa != nil && e.ReliefKPa != nil && *e.PressureKPa >= *e.ReliefKPa:
		return "head pressure has reached the relief setting"
	case asksWhereItWent(t):
		return "head pressure is gone, was it opened?"
	case isOver(t.To): // the figures are those of its end, which may lie on the other side
	case t.Alarm == detect.Vacuum && e.PressureKPa != nil && *e.PressureKPa > 0:
		return "head pressure will fall below atmosphere"
	case t.Alarm == detect.Vacuum && e.PressureKPa != nil:
		return "head pressure is below atmosphere"
	case t.Alarm == detect.CrashDrift && isWarm(e):
		return "beer is warmer than its setpoint"
	case t.Alarm == detect.CrashDrift && e.TemperatureCelsius != nil && e.SetpointCelsius != nil:
		return "beer is colder than its setpoint"
	}
	if t.Probe != "" {
		return strings.NewReplacer("a probe", t.Probe, "a webhook", "webhook "+t.Probe).Replace(d.Title)
	}
	return d.Title
}

// lead says what happened to the alarm, in a cellar's words; empty for one that is new.
func (w Words) lead(t Transition) string {
	switch t.To {
	case Unacknowledged:
		return again(t)
	case Acknowledged:
		return "seen" + by(t) + ": "
	case Returned, Normal:
		return ended(t)
	case Shelved:
		return fmt.Sprintf("quiet until %s%s: ", w.When(t.Until, t.Time), by(t))
	case Suppressed:
		return "quiet, " + t.Why + ": "
	case OutOfService:
		return "out of service: "
	}
	return ""
}

// again says why a person is called, where it is not for the first time.
func again(t Transition) string {
	switch t.From {
	case Normal:
		return ""
	case Returned:
		return "back again: "
	case Unacknowledged, Acknowledged:
		return "worse: "
	}
	if t.Why == grewWorse {
		return "worse: "
	}
	return "still: "
}

// ended says how an alarm came to its end.
func ended(t Transition) string {
	switch {
	case asks(t) && t.Why == "":
		return "no longer asked: "
	case t.From == Returned:
		return "over, and seen" + by(t) + ": "
	case t.Why != "" && t.By == "":
		return "closed, " + t.Why + ": "
	}
	return "cleared by itself: "
}

// by names who did it, where somebody did.
func by(t Transition) string {
	if t.By == "" {
		return ""
	}
	return " by " + t.By
}

// Facts are the figures of some evidence, each as a short phrase. Now decides how a time is written.
func (w Words) Facts(e detect.Evidence, now time.Time) []string {
	var out []string
	if e.RatePlatoPerDay != nil {
		// Either witness may have seen it, the gauge before the float: so no word of gravity.
		out = append(out, "ferments about "+w.extractRate(*e.RatePlatoPerDay)+" a day")
	}
	if e.CO2GramsPerLiterDay != nil {
		out = append(out, "CO2 made "+show(e.CO2GramsPerLiterDay.Value, "", beer.KindCO2)+" a day")
	}
	if e.TemperatureCelsius != nil {
		out = append(out, w.pair("beer ", *e.TemperatureCelsius, ", setpoint ", e.SetpointCelsius, w.Display.Temperature, beer.KindTemperature))
	}
	if e.PressureKPa != nil {
		out = append(out, w.pair("head ", *e.PressureKPa, ", explained ", e.ExplainedPressureKPa, w.Display.Pressure, beer.KindPressure))
	}
	if e.ReliefKPa != nil {
		out = append(out, "pressure relief valve set at "+show(*e.ReliefKPa, w.Display.Pressure, beer.KindPressure))
	}
	if f := e.Forecast; f != nil && f.LimitReached != nil && !f.LimitReached.High.Before(now) {
		when := "between " + w.Around(f.LimitReached.Low, now) + " and " + w.Around(f.LimitReached.High, now)
		if f.LimitReached.Low.Before(now) {
			when = "by " + w.Around(f.LimitReached.High, now)
		}
		out = append(out, f.Limit+" reached "+when)
	}
	if e.SilentSince != nil {
		out = append(out, "last heard "+w.When(*e.SilentSince, now))
	}
	if len(e.Joined) > 0 {
		out = append(out, "same gas, and moved with it: "+strings.Join(e.Joined, ", ")+"; look at each, and at the header")
	}
	return out
}

// pair writes a figure and, where there is one, the figure to hold it against.
func (w Words) pair(name string, value float64, other string, against *float64, unit string, kind beer.Kind) string {
	line := name + show(value, unit, kind)
	if against != nil {
		line += other + show(*against, unit, kind)
	}
	return line
}

// extractRate writes a fall of gravity with its bounds, in the unit in which gravity is read: points of 0.001 or degP.
func (w Words) extractRate(i detect.Interval) string {
	unit := "points"
	if w.Display.Gravity == "degP" {
		unit = "degP"
	}
	if i.Value < 0 { // a fall, written as a change
		i = detect.Interval{Value: -i.Value, Low: -i.High, High: -i.Low}
	}
	bound := func(v float64) string { return strings.TrimSuffix(show(v, unit, beer.KindExtract), " "+unit) }
	return fmt.Sprintf("%s %s (%s to %s)", bound(i.Value), unit, bound(i.Low), bound(i.High))
}

// show writes a figure in a unit, in the inside unit where the display's cannot say it.
func show(value float64, unit string, kind beer.Kind) string {
	if text, err := beer.Print(value, unit, kind); err == nil {
		return text
	}
	if text, err := beer.Print(value, "", kind); err == nil {
		return text
	}
	return "unknown"
}

// When writes a time by the cellar's clock: the time of day, with the weekday unless it is the day of now, with the
// date from six days away.
func (w Words) When(t, now time.Time) string {
	t, now = t.In(w.zone()), now.In(w.zone())
	switch away := t.Sub(now).Abs(); {
	case t.YearDay() == now.YearDay() && away < 48*time.Hour:
		return t.Format("15:04")
	case away < 6*24*time.Hour:
		return t.Format("Mon 15:04")
	}
	return t.Format("2 Jan 15:04")
}

// Around writes a time of which nobody knows the minutes: to the hour from a day away, to the day from six.
func (w Words) Around(t, now time.Time) string {
	switch away := t.Sub(now).Abs(); {
	case away >= 6*24*time.Hour:
		return t.In(w.zone()).Format("2 Jan")
	case away >= 24*time.Hour:
		return w.When(t.Round(time.Hour), now)
	}
	return w.When(t, now)
}

func (w Words) zone() *time.Location {
	if w.Zone == nil {
		return time.UTC
	}
	return w.Zone
}
