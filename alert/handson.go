package alert

import (
	"fmt"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// handsOn is a stretch of time in which people said that they work on a tank. When it ends and nothing was logged in
// it, they are asked what was done: the log is never as good as on the evening of the same day.
type handsOn struct {
	Since    time.Time `json:"since"`
	Until    time.Time `json:"until"`
	By       string    `json:"by,omitempty"`
	Answered bool      `json:"answered,omitempty"` // by a line of the log
	Gauged   bool      `json:"gauged,omitempty"`   // head pressure was known at the start:
	KPa      float64   `json:"kpa,omitempty"`
}

// A change of head pressure that people make, and yeast does not within an hour (common practice).
const (
	blownDown = 20.0 // kPa
	gasAdded  = 10.0 // kPa
)

// work hears a line of the cellar log that bears on hands on the tank.
func (a *annunciator) work(e detect.Event, s detect.Status, at time.Time) {
	open := a.state.Hands[e.Tank]
	switch e.Name {
	case "work":
		if open == nil {
			open = &handsOn{Since: e.Time, By: e.By}
			if p, ok := s.Last[detect.Pressure]; ok {
				open.Gauged, open.KPa = true, p.Value
			}
			a.state.Hands[e.Tank] = open
		}
		if open.Until = s.HandsOnUntil; !open.Until.After(at) {
			delete(a.state.Hands, e.Tank) // logged when it was over already
		}
	case "note", "tell", "probe":
	default:
		if open != nil {
			open.Answered = true
		}
	}
}

// inquire asks what was done, once the hands are off.
func (a *annunciator) inquire(s detect.Status, at time.Time) {
	h := a.state.Hands[s.Tank]
	if h == nil || at.Before(h.Until) {
		return
	}
	delete(a.state.Hands, s.Tank)
	if !h.Answered {
		a.postLow(a.words.question(*h, s, at), at)
	}
}

// question asks what was done, with the three likeliest answers by what the gauge saw.
func (w Words) question(h handsOn, s detect.Status, at time.Time) Message {
	m := newBulletin(KindQuestion, at, detect.Low, s.Tank)
	m.Tank, m.Answers = s.Tank, []string{"sample", "dry-hop", "yeast-off"}
	seen := "Nothing was logged since " + w.When(h.Since, at) + "."
	if now, ok := s.Last[detect.Pressure]; ok && h.Gauged {
		change := now.Value - h.KPa
		switch {
		case change <= -blownDown:
			m.Answers = []string{"vent", "dry-hop", "transfer"}
		case change >= gasAdded:
			m.Answers = []string{"gas", "seal", "rouse"}
		}
		seen = fmt.Sprintf("Head pressure was %s and is %s; nothing was logged.", show(h.KPa, w.Display.Pressure, beer.KindPressure),
			show(now.Value, w.Display.Pressure, beer.KindPressure))
	}
	m.Summary = s.Tank + ": hands are off, what was done?"
	m.Lines = []string{seen, "Log it: " + strings.Join(m.Answers, ", ") + ", or what else it was. The beer's alarms are live again."}
	return m
}
