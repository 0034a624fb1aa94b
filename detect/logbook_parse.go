package detect

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"spile/detect/beer"
)

// Longest texts of the log, in characters.
const (
	longestText = 1000
	longestID   = 128
)

// ParseEvent reads a line of the cellar log as it comes in JSON. An event
// without a time happened on arrival. Every fault is named, each with its mend;
// the error is an *InputError.
//
// The keys of Event.MarshalJSON are read back: "tank" must be this tank, and
// "arrived" gives way to the arrival.
func ParseEvent(tank string, fields map[string]any, arrived time.Time) (Event, error) {
	if !ValidName(tank) {
		return Event{}, refused(ReasonBadTopic, "tank %q: %s", shortened(tank), NameRule)
	}
	kind, alias, err := eventKind(fields["event"])
	if err != nil {
		return Event{}, err
	}
	p := eventParser{kind: kind, given: fields, event: Event{
		Tank: tank, Name: kind.Name, Time: arrived.UTC().Truncate(time.Millisecond), Arrived: arrived.UTC().Truncate(time.Millisecond),
		Amounts: map[string]float64{}, Words: map[string]string{},
	}}
	p.takeCommon()
	for _, name := range sortedKeys(fields) {
		p.take(name, fields[name])
	}
	p.demand(alias)
	return p.event, p.verdict()
}

// ParseFields reads a line of the cellar log as it is typed: KEY=VALUE, or just
// the word where it can only mean one field, as in "vdk pass".
func ParseFields(tank, name string, args []string, arrived time.Time) (Event, error) {
	fields := map[string]any{"event": name}
	kind, _, err := eventKind(name)
	if err != nil {
		return Event{}, err
	}
	for _, arg := range args {
		key, value, ok := strings.Cut(arg, "=")
		if !ok {
			key, value = kind.fieldOfChoice(arg), arg
		}
		if key == "" {
			return Event{}, refused(ReasonBadField, "%s: %q: write KEY=VALUE; %s", kind.Name, shortened(arg), kind.takes())
		}
		if _, twice := fields[key]; twice {
			return Event{}, refused(ReasonBadField, "%s: %s is given twice: give it once", kind.Name, shortened(key))
		}
		fields[key] = value
	}
	return ParseEvent(tank, fields, arrived)
}

// eventKind finds the event; alias is the other name by which it was called.
func eventKind(v any) (kind EventKind, alias string, err error) {
	name, ok := v.(string)
	if !ok {
		return EventKind{}, "", refused(ReasonUnknownEvent, `"event" is %s: write one of %s`, described(v), strings.Join(eventNames(), ", "))
	}
	kind, ok = LookupEvent(name)
	if ok {
		if plain := strings.ToLower(strings.TrimSpace(name)); slices.Contains(kind.Aliases, plain) {
			alias = plain
		}
		return kind, alias, nil
	}
	if near := Nearest(strings.ToLower(name), eventNames()); near != "" {
		return EventKind{}, "", refused(ReasonUnknownEvent, "unknown event %q: did you mean %q?", shortened(name), near)
	}
	return EventKind{}, "", refused(ReasonUnknownEvent, "unknown event %q: write one of %s", shortened(name), strings.Join(eventNames(), ", "))
}

// eventNames lists the events and their aliases.
func eventNames() []string {
	var names []string
	for _, kind := range logbook {
		names = append(append(names, kind.Name), kind.Aliases...)
	}
	return names
}

// fieldOfChoice names the field that a word by itself can only mean.
func (k EventKind) fieldOfChoice(word string) string {
	for _, f := range k.Fields {
		if slices.Contains(f.Choices, strings.ToLower(word)) {
			return f.Name
		}
	}
	return ""
}

// takes says which fields the event has.
func (k EventKind) takes() string { return k.Name + " takes " + strings.Join(k.FieldNames(), ", ") }

// eventParser fills one event and collects what is wrong with it.
type eventParser struct {
	kind   EventKind
	given  map[string]any
	event  Event
	faults []*InputError
}

func (p *eventParser) fault(reason, format string, args ...any) {
	p.faults = append(p.faults, refused(reason, format, args...))
}

// verdict joins the faults; the first one names the reason.
func (p *eventParser) verdict() error {
	if len(p.faults) == 0 {
		return nil
	}
	texts := make([]string, len(p.faults))
	for i, f := range p.faults {
		texts[i] = f.Text
	}
	return &InputError{Reason: p.faults[0].Reason, Text: strings.Join(texts, "; ")}
}

// takeCommon reads what every event may carry.
func (p *eventParser) takeCommon() {
	if v, ok := p.given["time"]; ok && v != nil {
		p.takeTime(v)
	}
	p.event.By = p.text("by", p.given["by"], longestText)
	if p.kind.Name != "probe" || p.given["probe"] != nil {
		p.event.ID = p.text("id", p.given["id"], longestID)
	}
	if tank, ok := p.given["tank"]; ok && tank != p.event.Tank {
		p.fault(ReasonBadField, `"tank" is %v, but this is the log of %s: leave it out`, shortened(fmt.Sprint(tank)), p.event.Tank)
	}
}

func (p *eventParser) takeTime(v any) {
	at, err := ParseTime(v)
	if err == nil {
		err = CheckTime(at, p.event.Arrived)
	}
	if problem := (*InputError)(nil); errors.As(err, &problem) {
		p.fault(problem.Reason, "%s: %s", p.kind.Name, problem.Text)
		return
	}
	p.event.Time = at
}

// isCommon tells whether a key belongs to no event in particular. The name of
// the probe in a probe event is its "id", unless "probe" gives it.
func (p *eventParser) isCommon(name string) bool {
	switch name {
	case "event", "time", "by", "tank", "arrived", "line_name", "struck": // the last two are spile's own, when it gives a log
		return true
	case "id":
		return p.kind.Name != "probe" || p.given["probe"] != nil
	case "unit":
		return p.given["value"] != nil
	}
	return false
}

// take reads one key.
func (p *eventParser) take(name string, v any) {
	if v == nil || p.isCommon(name) {
		return
	}
	f, ok := p.kind.field(name)
	switch {
	case !ok && (name == "note" || name == "corrects"):
		f = Field{Name: name}
	case !ok:
		p.unknown(name)
		return
	}
	if name == "value" && p.given["unit"] != nil {
		v = map[string]any{"value": v, "unit": p.given["unit"]}
	}
	if _, had := p.event.Amounts[f.Name]; had || p.event.Words[f.Name] != "" {
		p.fault(ReasonBadField, "%s: %s is given twice, as %s too: give it once", p.kind.Name, f.Name, name)
		return
	}
	p.fill(f, v)
}

func (p *eventParser) unknown(name string) {
	if near := Nearest(strings.ToLower(name), p.kind.FieldNames()); near != "" {
		p.fault(ReasonBadField, "%s has no field %q: did you mean %q?", p.kind.Name, shortened(name), near)
		return
	}
	p.fault(ReasonBadField, "%s has no field %q: %s", p.kind.Name, shortened(name), p.kind.takes())
}

// fill puts the value of a field in its place: a word it may be, a figure, or a text.
func (p *eventParser) fill(f Field, v any) {
	word, isText := v.(string)
	if plain := strings.ToLower(strings.TrimSpace(word)); isText && slices.Contains(f.Choices, plain) {
		p.event.Words[f.Name] = plain
		return
	}
	switch {
	case f.Kind != "":
		p.amount(f, v)
	case len(f.Choices) > 0:
		p.fault(ReasonBadField, "%s %s=%s: write %s", p.kind.Name, f.Name, written(v), strings.Join(f.Choices, " or "))
	default:
		text := p.text(f.Name, v, longestText)
		if f.Naming && text != "" && !ValidName(text) {
			p.fault(ReasonBadField, "%s %s=%s: %s", p.kind.Name, f.Name, written(text), NameRule)
			return
		}
		if text != "" {
			p.event.Words[f.Name] = text
		}
	}
}

// text reads a text; a number is taken as it stands.
func (p *eventParser) text(name string, v any, longest int) string {
	var text string
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		text = strings.TrimSpace(v)
	case float64:
		text = strconv.FormatFloat(v, 'f', -1, 64)
	case json.Number:
		text = v.String()
	default:
		p.fault(ReasonBadField, "%s: %s is %s: write a text", p.kind.Name, name, described(v))
		return ""
	}
	if utf8.RuneCountInString(text) > longest {
		p.fault(ReasonBadField, "%s: %s is longer than %d characters: shorten it", p.kind.Name, name, longest)
		return ""
	}
	// What cannot be shown becomes a space, so the edges are trimmed after it too.
	return strings.TrimSpace(strings.Map(printable, strings.ToValidUTF8(text, "\uFFFD")))
}

// printable keeps a text from playing tricks on the terminal that shows it.
func printable(r rune) rune {
	if unicode.IsControl(r) && r != '\n' && r != '\t' {
		return ' '
	}
	return r
}

// amount reads a figure and holds it against what a brewer can mean.
func (p *eventParser) amount(f Field, v any) {
	fig, err := readFigure(v)
	var value float64
	if err == nil {
		value, err = fig.inside(f.Kind)
	}
	if problem := (*InputError)(nil); errors.As(err, &problem) {
		mend := ""
		if len(f.Choices) > 0 {
			mend = ", or " + strings.Join(f.Choices, " or ")
		}
		p.fault(problem.Reason, "%s %s: %s%s", p.kind.Name, f.Name, problem.Text, mend)
		return
	}
	if value >= f.Low && value <= f.High {
		p.event.Amounts[f.Name] = value
		return
	}
	p.fault(ReasonOutOfRange, "%s %s=%s: %s", p.kind.Name, f.Name, shortened(fig.text), f.absurd(fig, value))
}

// absurd says what an impossible figure most likely was meant to be.
func (f Field) absurd(fig figure, value float64) string {
	inside, number := beer.InsideUnit(f.Kind), strconv.FormatFloat(fig.number, 'g', -1, 64)
	bare := fig.unit == "" || value == fig.number // it was given, or taken, in the inside unit
	if unit := LikelyUnit(fig.number, f.Kind, f.Low, f.High); bare && unit != "" {
		return fmt.Sprintf("%s %s? write %s%s", number, inside, number, unit)
	}
	if f.Kind == beer.KindGravity && bare && value >= 1000*f.Low && value <= 1000*f.High {
		return fmt.Sprintf("write the gravity as %.4f", value/1000)
	}
	if value < f.Low && f.LowMend != "" {
		return f.LowMend
	}
	return fmt.Sprintf("expected %g to %g %s", f.Low, f.High, inside)
}

// demand asks for what the event cannot do without, and fills in the defaults.
func (p *eventParser) demand(alias string) {
	if p.kind.AnyOf && len(p.event.Amounts) == 0 && !p.hasWord() && len(p.faults) == 0 {
		p.fault(ReasonBadField, "%s needs at least one of its fields: %s, such as %s", p.kind.Name, p.kind.takes(), p.kind.Fields[0].example())
	}
	for _, f := range p.kind.Fields {
		_, hasAmount := p.event.Amounts[f.Name]
		if !hasAmount && f.Default != 0 {
			p.event.Amounts[f.Name] = f.Default
		}
		must := f.Required || alias == "spund" && f.Name == "pressure"
		if must && !hasAmount && p.event.Words[f.Name] == "" && len(p.faults) == 0 {
			p.fault(ReasonBadField, "%s needs %s (%s), as %s", cmp.Or(alias, p.kind.Name), f.Name, f.Means, f.example())
		}
	}
}

// hasWord tells whether one of the event's own words is given.
func (p *eventParser) hasWord() bool {
	return slices.ContainsFunc(p.kind.Fields, func(f Field) bool { return p.event.Words[f.Name] != "" })
}

// example shows how the field is written.
func (f Field) example() string {
	switch {
	case f.Kind == beer.KindTemperature:
		return f.Name + `="14.4 degC"`
	case f.Kind == beer.KindGravity:
		return f.Name + "=1.0118"
	case f.Kind == beer.KindPressure:
		return f.Name + `="80 kPa"`
	case f.Kind == beer.KindCO2:
		return f.Name + `="2.5 vol"`
	case len(f.Choices) > 0:
		return f.Name + "=" + strings.Join(f.Choices, " or "+f.Name+"=")
	case f.Naming:
		return f.Name + "=hyd-1"
	}
	return f.Name + `="…"`
}

// written repeats a value in an error.
func written(v any) string {
	switch v := v.(type) {
	case string:
		return strconv.Quote(shortened(v))
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return described(v)
}

func sortedKeys(fields map[string]any) []string {
	keys := make([]string, 0, len(fields))
	for key := range fields {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	return keys
}
