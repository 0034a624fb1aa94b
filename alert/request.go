package alert

import (
	"fmt"
	"slices"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// request is what somebody asked in the cellar log to be told of, once. It is no alarm: nobody has to answer.
type request struct {
	What   string    `json:"what"` // the field of the event
	Value  float64   `json:"value,omitempty"`
	By     string    `json:"by,omitempty"`
	Asked  time.Time `json:"asked"`
	Side   int       `json:"side,omitempty"` // from where the figure comes: 1 from above, -1 from below
	Probe  string    `json:"probe,omitempty"`
	Seen   time.Time `json:"seen,omitzero"`   // the probe's newest reading
	Beyond time.Time `json:"beyond,omitzero"` // the first reading at the figure; a second one confirms it
}

// What can be asked for, by the fields of the event.
const (
	askGravity     = "gravity"
	askTemperature = "temperature"
	askStable      = "stable"
	askContact     = "contact"
	askDiacetyl    = "vdk"
)

// When a diacetyl test is due after hops: once gravity has stood still for a day since, or where no gravity is heard,
// after three days of contact (common practice).
const (
	stillAfterHops = 24 * time.Hour
	blindContact   = 72 * time.Hour
)

// asked lists what can be asked for, in the order in which it is told.
func asked() []string {
	return []string{askGravity, askTemperature, askStable, askContact, askDiacetyl}
}

// ask takes the requests of an event. A new one takes the place of the last of its kind.
func (a *annunciator) ask(e detect.Event) {
	for _, what := range asked() {
		value, figure := e.Amount(what)
		if !figure && e.Word(what) == "" {
			continue
		}
		all := slices.DeleteFunc(a.state.Requests[e.Tank], func(r request) bool { return r.What == what })
		a.state.Requests[e.Tank] = append(all, request{What: what, Value: value, By: e.By, Asked: e.Arrived})
	}
}

// forget drops what was asked of a batch that has left its tank.
func (a *annunciator) forget(tank string) { delete(a.state.Requests, tank) }

// answer looks whether what was asked of a tank has come.
func (a *annunciator) answer(s detect.Status, still stillness, at time.Time) {
	open := a.state.Requests[s.Tank]
	if len(open) == 0 {
		return
	}
	var left []request
	for _, r := range open {
		if !r.come(s, still, at) {
			left = append(left, r)
			continue
		}
		a.postLow(a.words.answer(r, s, still, at), at)
	}
	if a.state.Requests[s.Tank] = left; len(left) == 0 {
		delete(a.state.Requests, s.Tank)
	}
}

// come tells whether the moment has come.
func (r *request) come(s detect.Status, still stillness, at time.Time) bool {
	hopped := s.HoppedSince
	switch r.What {
	case askGravity:
		return r.reached(s.Last[detect.Gravity])
	case askTemperature:
		return r.reached(s.Last[detect.Temperature])
	case askStable:
		return still.length(at) >= hours(r.Value)
	case askContact:
		return !hopped.IsZero() && at.Sub(hopped) >= hours(r.Value)
	case askDiacetyl:
		if still.heard(at) {
			return !hopped.IsZero() && min(still.length(at), at.Sub(hopped)) >= stillAfterHops
		}
		return !hopped.IsZero() && at.Sub(hopped) >= blindContact
	}
	return false
}

// reached follows one probe to the figure, from the side on which it was; two readings must say so.
func (r *request) reached(latest detect.Latest) bool {
	if latest.Time.IsZero() || !latest.Time.After(r.Seen) {
		return false
	}
	if latest.Probe != r.Probe {
		if r.Probe != "" && latest.Time.Sub(r.Seen) <= probeLost {
			return false // another probe reads a little differently
		}
		r.Probe, r.Beyond = latest.Probe, time.Time{}
	}
	r.Seen = latest.Time
	if r.Side == 0 {
		r.Side = 1
		if latest.Value < r.Value {
			r.Side = -1
		}
	}
	if float64(r.Side)*(latest.Value-r.Value) > 0 {
		r.Beyond = time.Time{}
		return false
	}
	confirmed := !r.Beyond.IsZero()
	r.Beyond = latest.Time
	return confirmed
}

// answer puts what has come into words.
func (w Words) answer(r request, s detect.Status, still stillness, at time.Time) Message {
	m := newBulletin(KindNotice, at, detect.Low, s.Tank, r.What)
	m.Tank = s.Tank
	says, next := "", ""
	switch r.What {
	case askGravity:
		says = "gravity has reached " + show(r.Value, w.Display.Gravity, beer.KindGravity)
		m.Lines = append(m.Lines, "now "+show(s.Last[detect.Gravity].Value, w.Display.Gravity, beer.KindGravity))
		next = "If it is time to close the tank, look first what pressure its valve holds."
	case askTemperature:
		says = "beer has reached " + show(r.Value, w.Display.Temperature, beer.KindTemperature)
		m.Lines = append(m.Lines, "now "+show(s.Last[detect.Temperature].Value, w.Display.Temperature, beer.KindTemperature))
		next = "Go on with what waited for it."
	case askStable:
		says = fmt.Sprintf("gravity has stood still for %s", hoursInWords(still.length(at)))
		m.Lines = append(m.Lines, "at "+show(still.Value, w.Display.Gravity, beer.KindGravity)+" since "+w.When(still.Since, at))
		next = "Compare with the end gravity you expect" + afterHops(s) + "."
	case askContact:
		says = fmt.Sprintf("hops have been in for %s", hoursInWords(at.Sub(s.HoppedSince)))
		m.Lines = append(m.Lines, "since "+w.When(s.HoppedSince, at))
		next = "Taste, and before cooling run a forced diacetyl test."
	case askDiacetyl:
		says = "a forced diacetyl test is due"
		m.Lines = append(m.Lines, "hops in since "+w.When(s.HoppedSince, at))
		next = "Cool only after it has passed: yeast that works on hops makes diacetyl anew."
	}
	m.Summary = s.Tank + ": " + says
	m.Lines = append(m.Lines, next)
	if r.By != "" {
		m.Lines = append(m.Lines, fmt.Sprintf("Asked for by %s %s.", r.By, w.When(r.Asked, at)))
	}
	return m
}

// afterHops reminds of the test that hops ask for.
func afterHops(s detect.Status) string {
	if s.HoppedSince.IsZero() {
		return ""
	}
	return ", and run a forced diacetyl test: hops make it due"
}

// hours is a figure of hours as a length of time.
func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// hoursInWords writes a length of time in whole hours, in days from four of them.
func hoursInWords(d time.Duration) string {
	const day = 24 * time.Hour
	if d >= 4*day {
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	}
	return fmt.Sprintf("%.0f h", d.Hours())
}

// waitsFor tells whether somebody waits for something of a tank.
func (a *annunciator) waitsFor(tank string) bool {
	return len(a.state.Requests[tank]) > 0 || a.state.Hands[tank] != nil
}
