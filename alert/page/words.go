package page

import (
	"html/template"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"spile/alert"
	"spile/detect"
	"spile/detect/batch"
	"spile/detect/beer"
)

// words are the functions with which templates speak.
func (s *Server) words() template.FuncMap {
	return template.FuncMap{
		"age":       s.age,
		"when":      s.when,
		"stamp":     func(t time.Time) string { return t.UTC().Format(time.RFC3339) },
		"about":     about,
		"care":      care,
		"caution":   caution,
		"state":     s.state,
		"open":      wantsAnswer,
		"capital":   capital,
		"units":     pretty,
		"sentence":  sentence,
		"figures":   s.figures,
		"reach":     s.reach,
		"since":     alert.Incident.Began,
		"present":   s.present,
		"step":      s.step,
		"called":    s.called,
		"found":     found,
		"verdict":   verdict,
		"fulfilled": fulfilled,
		"moment":    func(t time.Time) string { return t.In(s.Zone).Format("Mon 2 Jan 15:04") },
		"day":       func(t time.Time) string { return t.In(s.Zone).Format("Mon 2 Jan 2006 15:04") },
		"answer":    func(v batch.Verdict) string { return strings.ToUpper(string(v)) },
		"proposed":  s.proposed,
	}
}

// sentence ends with one full stop, whether its text had one or not.
func sentence(text string) string { return strings.TrimSuffix(text, ".") + "." }

// age says how long ago something was.
func (s *Server) age(t time.Time) string { return detect.Age(s.Clock().Sub(t)) }

// when writes a moment on the cellar's clock, no longer than it must be.
func (s *Server) when(t time.Time) string {
	if t.IsZero() {
		return "a time not known"
	}
	now, local := s.Clock().In(s.Zone), t.In(s.Zone)
	distance := now.Sub(local).Abs()
	switch {
	case now.Format(time.DateOnly) == local.Format(time.DateOnly):
		return local.Format("15:04")
	case distance < 6*24*time.Hour:
		return local.Format("Mon 15:04")
	case now.Year() == local.Year():
		return local.Format("2 Jan 15:04")
	}
	return local.Format("2 Jan 2006 15:04")
}

// about is what the catalogue says of an alarm; empty where it has nothing.
func about(a detect.Alarm) alert.Definition {
	d, _ := alert.Define(a)
	return d
}

// caution is what of an alarm's caution stands before all else: the whole where the tank itself can hurt somebody, else
// one breath of it, so that a phone shows what to look at first as well.
func caution(d alert.Definition) string {
	if d.Scope == alert.Vessel {
		return d.Safety
	}
	return d.Caution
}

// care is the caution of an alarm among others, answered or not, for the next at the tank may not be who answered. What
// another alarm stands for is cautioned there.
func care(i alert.Incident) string {
	if i.State == alert.Suppressed {
		return ""
	}
	return caution(about(i.Alarm))
}

// state says where an alarm stands, without the standard's terms.
func (s *Server) state(i alert.Incident) string {
	switch i.State {
	case alert.Unacknowledged:
		return "wants an answer"
	case alert.Acknowledged:
		return "acknowledged"
	case alert.Returned:
		return "cleared by itself, not acknowledged"
	case alert.Shelved:
		return because("quiet until "+s.when(i.Until), i.Why)
	case alert.Suppressed:
		return because("waits", i.Why)
	case alert.OutOfService:
		return "out of service"
	case alert.Normal:
		return "over"
	}
	return string(i.State)
}

// found is what was found last, at the call or since: such as a limit passed that was only on its way. The tank is left out
// where it stands beside it.
func found(i alert.Incident) string { return pretty(strings.TrimPrefix(i.Summary, i.Tank+": ")) }

// called is when somebody was called, where that is another time than since when it is; else empty.
func (s *Server) called(i alert.Incident) string {
	if at := s.when(i.Since); at != s.when(i.Began()) {
		return at
	}
	return ""
}

// step says what happened to an alarm, without the standard's terms.
func (s *Server) step(t alert.Transition) string {
	text := s.state(alert.Incident{State: t.To, Until: t.Until})
	switch {
	case t.To == alert.Unacknowledged && t.From == alert.Normal:
		text = "called"
	case t.To == alert.Unacknowledged:
		text = "called again"
	case t.To == alert.Normal && t.From == alert.Unacknowledged:
		text = "closed"
	}
	if t.By != "" {
		text += " by " + t.By
	}
	return because(text, t.Why)
}

// present is how the figures of an alarm stand now; empty where it has none.
func (s *Server) present(i alert.Incident) string {
	if i.Now == nil {
		return ""
	}
	return pretty(alert.Words{Zone: s.Zone, Display: s.Display}.Now(*i.Now))
}

func because(text, why string) string {
	if why == "" {
		return text
	}
	return text + ": " + why
}

// wantsAnswer tells whether acknowledging an alarm means something.
func wantsAnswer(i alert.Incident) bool {
	return i.State == alert.Unacknowledged || i.State == alert.Returned
}

// capital begins a text with a capital letter.
func capital(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	if size == 0 {
		return text
	}
	return string(unicode.ToUpper(first)) + text[size:]
}

// degreeSigns are the units that print better than they type.
var degreeSigns = strings.NewReplacer("degC", "°C", "degF", "°F", "degP", "°P")

// pretty puts degree signs where the text has units as they are typed.
func pretty(text string) string { return degreeSigns.Replace(text) }

// kindOf is the kind of figure that a quantity is.
func kindOf(q detect.Quantity) beer.Kind {
	switch q {
	case detect.Gravity:
		return beer.KindGravity
	case detect.Temperature:
		return beer.KindTemperature
	}
	return beer.KindPressure
}

// figure writes a value held in the inside unit in the unit that people here read.
func (s *Server) figure(value float64, kind beer.Kind) string {
	printed, err := beer.Print(value, s.unitFor(kind), kind)
	if err != nil {
		return pretty(beer.Both(value, kind))
	}
	return pretty(printed)
}
