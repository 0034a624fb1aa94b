package alert

import (
	"strings"
	"time"

	"spile/detect"
)

// Title is what an alarm is called where it stands: the catalogue's name for it, naming the probe, the webhook or the tanks
// it is about, and the side of the setpoint or of the air's pressure.
func (i Incident) Title() string { return title(i.transition()) }

// Title is what an alarm was called at a step.
func (t Transition) Title() string { return title(t) }

// InAWord is how lines and charts name an alarm: by its name in the catalogue, and one whose title asks with a mark.
func InAWord(a detect.Alarm, title string) string {
	if isQuestion(title) {
		return string(a) + "?"
	}
	return string(a)
}

// Meaning is what an alarm says of the tank, in a sentence: the catalogue's, or what a question is about.
func (i Incident) Meaning() string { return meaning(i.transition()) }

// LookFirst is what a person looks at first, by what was found.
func (i Incident) LookFirst() string { return lookFirst(i.transition()) }

// isOver tells whether the condition of an alarm is gone.
func isOver(s State) bool { return s == Returned || s == Normal }

// SilentAtAll is after what silence a probe is taken for silent where its habit is not known: three messages of one that
// speaks each hour.
const SilentAtAll = 3 * time.Hour

// Silence tells of a probe that is silent beyond its own habit.
func (i Incident) Silence() bool { return i.Alarm == detect.ProbeSilent && !isOver(i.State) }

// asks tells whether an alarm is a question to the brewer.
func asks(t Transition) bool { return isQuestion(title(t)) }

func isQuestion(title string) bool { return strings.HasSuffix(title, "?") }

// Comma puts one behind a name in a line; a question has its stop.
func Comma(name string) string {
	if isQuestion(name) {
		return name
	}
	return name + ","
}

// asksWhereItWent tells of a leak that is none for sure: the pressure is gone already, and somebody may have let it off.
func asksWhereItWent(t Transition) bool { return t.Alarm == detect.Leak && t.Priority == detect.Low }

// missesTheAir tells of a silent probe that is in no tank.
func missesTheAir(t Transition) bool { return t.Alarm == detect.ProbeSilent && t.Evidence.Outside }

// advice is what to look at first, or what has changed by an answer and what has not.
func advice(t Transition) string {
	known, quiet, over := "That changes nothing in the tank.", "The tank goes on as it is.", " Look at the tank before you rely on it."
	if missesTheAir(t) {
		known, quiet, over = watchedWithout, watchedWithout, ""
	}
	switch t.To {
	case Acknowledged:
		return "Somebody knows. " + known
	case Shelved:
		return "Reason: " + t.Why + ". " + quiet
	case Returned, Normal:
		return "No more calls about this one." + over
	}
	return lookFirst(t)
}

// watchedWithout is what a barometer that is silent changes.
const watchedWithout = "The tanks are watched on, without it."

// meaning is the catalogue's, but for pressure that hands may have let off, and for a barometer.
func meaning(t Transition) string {
	if missesTheAir(t) {
		return "A barometer has said nothing for longer than its own habit. While it is silent, weather is not told from what yeast and leaks do to gauges that are open to the air."
	}
	if asksWhereItWent(t) {
		return "A tank that is taken for closed had little pressure, stood for a day, and has gone to nothing since: let off by hand and not logged, or lost by a leak. While the question stands no further leak is called here; all else is watched as before."
	}
	d, _ := Define(t.Alarm)
	return d.Meaning
}

// lookFirst is the catalogue's, but for beer that is too cold, where nobody asks whether other tanks warm, and for pressure
// that hands may have let off, and for a barometer.
func lookFirst(t Transition) string {
	d, _ := Define(t.Alarm)
	if e := t.Evidence; t.Alarm == detect.CrashDrift && e.TemperatureCelsius != nil && e.SetpointCelsius != nil && !isWarm(e) {
		return "Is the glycol valve stuck open, is the setpoint the one you want, do other tanks run cold too?"
	}
	if missesTheAir(t) {
		return "Has it power, is its battery flat, does its radio or cable reach as far as before? It can wait for the day."
	}
	if asksWhereItWent(t) {
		return "If it was opened, log it with its time. If not, find the leak before CO2 goes on: " + d.LookFirst
	}
	return d.LookFirst
}
