package page

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode"

	"spile/detect"
	"spile/detect/beer"
)

// The names of a form's inputs: an event's own fields stand behind a letter, so that none of them can be taken for one
// of the common ones.
const (
	valueInput  = "v." // what was typed
	unitInput   = "u." // the unit chosen for it
	choiceInput = "c." // a word chosen in its place
)

// readForm reads the form of a POST.
func readForm(r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		if p, ok := asProblem(err); ok {
			return p
		}
		return bad("the form cannot be read: %v", err)
	}
	return nil
}

// input is one field of an event as the form shows it.
type input struct {
	Name     string
	Label    string
	Means    string
	Range    string // what a figure may be, in the unit shown
	Value    string
	Units    []string // of a figure; empty: a text or a choice
	Unit     string   // the one chosen
	Choices  []string
	Choice   string
	Required bool
}

// inputs are the fields of a kind of event, filled with what was typed before.
func (s *Server) inputs(kind detect.EventKind, typed url.Values) []input {
	inputs := make([]input, 0, len(kind.Fields))
	for _, f := range kind.Fields {
		in := input{
			Name: f.Name, Label: label(f.Name), Means: f.Means, Choices: f.Choices, Required: f.Required,
			Value: typed.Get(valueInput + f.Name), Choice: typed.Get(choiceInput + f.Name),
		}
		if f.Kind != "" {
			in.Units = beer.Units(f.Kind)
			in.Unit = typed.Get(unitInput + f.Name)
			if in.Unit == "" {
				in.Unit = s.unitFor(f.Kind)
			}
			in.Range = span(f, in.Unit)
		}
		inputs = append(inputs, in)
	}
	return inputs
}

// label is a field's name as a person reads it.
func label(field string) string {
	if field == "value" {
		return "Reading"
	}
	if field == "id" {
		return "Probe"
	}
	return capital(strings.ReplaceAll(field, "-", " "))
}

// span says what a figure may be, in a unit.
func span(f detect.Field, unit string) string {
	low, err := beer.ToUnit(f.Low, unit, f.Kind)
	if err != nil {
		return ""
	}
	high, err := beer.ToUnit(f.High, unit, f.Kind)
	if err != nil {
		return ""
	}
	return rounded(low) + " to " + rounded(high) + " " + unit
}

// rounded writes a figure with four digits that count, and never with an exponent.
func rounded(v float64) string {
	four, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	if err != nil {
		return ""
	}
	return strconv.FormatFloat(four, 'f', -1, 64)
}

// unitFor is the unit that people here use for a kind of figure.
func (s *Server) unitFor(kind beer.Kind) string {
	chosen := ""
	switch kind {
	case beer.KindGravity:
		chosen = s.Display.Gravity
	case beer.KindTemperature:
		chosen = s.Display.Temperature
	case beer.KindPressure:
		chosen = s.Display.Pressure
	case beer.KindVolume:
		chosen = "hL"
	case beer.KindMass:
		chosen = "kg"
	}
	for _, unit := range beer.Units(kind) {
		if strings.EqualFold(unit, chosen) {
			return unit
		}
	}
	return beer.InsideUnit(kind)
}

// eventFields turns a filled form into the fields of an event, as they would have come in JSON.
func (s *Server) eventFields(form url.Values) (map[string]any, error) {
	fields := map[string]any{"event": form.Get("event")}
	for _, common := range []string{"by", "note", "corrects"} {
		if v := strings.TrimSpace(form.Get(common)); v != "" {
			fields[common] = v
		}
	}
	if id := form.Get("id"); id != "" {
		fields["id"] = id + "-" + digest(form)
	}
	at, err := s.localTime(form.Get("time"))
	if err != nil {
		return nil, err
	}
	if !at.IsZero() {
		fields["time"] = at.Format(time.RFC3339)
	}
	kind, _ := detect.LookupEvent(form.Get("event")) // an unknown one is refused by the logbook, with the words for it
	for _, f := range kind.Fields {
		if v := typedValue(form, f); v != "" {
			fields[keyOf(kind, f)] = v
		}
	}
	return fields, nil
}

// digest stands for what a form holds. With it behind the form's id, a form sent twice by a wet thumb is one event, and
// one that somebody went back to and changed is another.
func digest(form url.Values) string {
	held := url.Values{}
	for name, values := range form {
		if name != "id" && name != tokenField {
			held[name] = values
		}
	}
	sum := sha256.Sum256([]byte(held.Encode()))
	return hex.EncodeToString(sum[:6])
}

// keyOf is the key of a field in JSON: "id" is the event's own there, so a probe goes under its other name.
func keyOf(kind detect.EventKind, f detect.Field) string {
	if kind.Name == "probe" && f.Name == "id" {
		return "probe"
	}
	return f.Name
}

// typedValue is what was typed or chosen for a field. A unit typed behind the figure wins over the chosen one.
func typedValue(form url.Values, f detect.Field) string {
	if choice := form.Get(choiceInput + f.Name); choice != "" {
		return choice
	}
	typed := strings.TrimSpace(form.Get(valueInput + f.Name))
	if typed == "" || f.Kind == "" || strings.ContainsFunc(typed, unicode.IsLetter) {
		return typed
	}
	return strings.TrimSpace(typed + " " + form.Get(unitInput+f.Name))
}

// newID makes the id of a form.
func (s *Server) newID() (string, error) {
	var b [12]byte
	if _, err := io.ReadFull(s.Rand, b[:]); err != nil {
		return "", fmt.Errorf("make the id of a form: %w", err)
	}
	return "form-" + hex.EncodeToString(b[:]), nil
}
