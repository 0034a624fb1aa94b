package detect

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"spile/detect/beer"
)

// Echo writes the event back on one line for people, every figure in both
// units and the hour on the clock of e.Time's zone:
// "FV3 crash at 02:10: setpoint 14.4 degC (57.9 degF)".
func (e Event) Echo() string {
	layout := "15:04"
	if arrived := e.Arrived.In(e.Time.Location()); !e.Arrived.IsZero() && !sameDay(e.Time, arrived) {
		layout = "2 Jan 2006 15:04"
	}
	line := fmt.Sprintf("%s %s at %s", e.Tank, e.Name, e.Time.Format(layout))
	if parts := e.parts(); len(parts) > 0 {
		line += ": " + strings.Join(parts, ", ")
	}
	if e.By != "" {
		line += " (by " + oneLine(e.By) + ")"
	}
	return line
}

func sameDay(a, b time.Time) bool { return a.Format(time.DateOnly) == b.Format(time.DateOnly) }

// parts writes each field the event has, in the order of the catalogue.
func (e Event) parts() []string {
	kind, _ := LookupEvent(e.Name)
	var parts []string
	for _, name := range e.fieldNames() {
		f, _ := kind.field(name)
		label := name + " "
		if name == "value" || name == "note" || name == "state" || name == "result" {
			label = "" // the event's own name says what it is
		}
		if amount, ok := e.Amounts[name]; ok {
			parts = append(parts, label+bothUnits(amount, f.Kind))
		} else {
			parts = append(parts, label+oneLine(e.Words[name]))
		}
	}
	return parts
}

// bothUnits is beer.Both, but for a duration, which people say in one unit.
func bothUnits(amount float64, kind beer.Kind) string {
	switch kind {
	case beer.KindDuration:
		return Spell(hours(amount))
	case "":
		return strconv.FormatFloat(amount, 'g', -1, 64)
	}
	return beer.Both(amount, kind)
}

func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// fieldNames lists the fields the event has: those of the catalogue in its
// order, then any others by name.
func (e Event) fieldNames() []string {
	has := func(name string) bool {
		_, amount := e.Amounts[name]
		return amount || e.Words[name] != ""
	}
	kind, _ := LookupEvent(e.Name)
	var names []string
	for _, f := range kind.Fields {
		if has(f.Name) {
			names = append(names, f.Name)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(mergedNames(e))) {
		if has(name) && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}

func mergedNames(e Event) map[string]bool {
	names := map[string]bool{}
	for name := range e.Amounts {
		names[name] = true
	}
	for name := range e.Words {
		names[name] = true
	}
	return names
}

// Identity is what makes the event this one and no other: the ID its sender
// gave or, without one, a hash of tank, name, time and fields.
func (e Event) Identity() string {
	if e.ID != "" {
		return e.ID
	}
	h := sha256.New()
	write := func(text string) { h.Write(fmt.Appendf(nil, "%d:%s\n", len(text), text)) }
	write(e.Tank)
	write(e.Name)
	write(strconv.FormatInt(e.Time.UnixMilli(), 10))
	for _, name := range slices.Sorted(maps.Keys(mergedNames(e))) {
		write(name)
		if amount, ok := e.Amounts[name]; ok {
			write(strconv.FormatFloat(amount, 'g', -1, 64))
		} else {
			write(e.Words[name])
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// MarshalJSON writes the event as it came over MQTT, figures with their inside
// unit: {"id":…,"event":"crash","time":…,"tank":"FV3","arrived":…,"by":…,
// "setpoint":{"value":14.4,"unit":"degC"}}. The name of the probe in a probe
// event stands under "probe", for "id" is the event's own. ParseEvent reads it back.
func (e Event) MarshalJSON() ([]byte, error) {
	w := objectWriter{}
	if e.ID != "" {
		w.add("id", e.ID)
	}
	w.add("event", e.Name)
	w.add("time", e.Time.UTC())
	w.add("tank", e.Tank)
	if !e.Arrived.IsZero() {
		w.add("arrived", e.Arrived.UTC())
	}
	if e.By != "" {
		w.add("by", e.By)
	}
	kind, _ := LookupEvent(e.Name)
	for _, name := range e.fieldNames() {
		f, _ := kind.field(name)
		if amount, ok := e.Amounts[name]; ok {
			w.add(name, unitValue{Value: amount, Unit: beer.InsideUnit(f.Kind)})
		} else {
			w.add(e.keyOf(name), e.Words[name])
		}
	}
	return w.close()
}

// keyOf is the key in JSON of a field.
func (e Event) keyOf(field string) string {
	if e.Name == "probe" && field == "id" {
		return "probe"
	}
	return field
}

// unitValue is a figure in JSON.
type unitValue struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit,omitempty"`
}

// objectWriter writes a JSON object whose keys keep their order.
type objectWriter struct {
	buffer  bytes.Buffer
	problem error
}

func (w *objectWriter) add(key string, value any) {
	name, err := json.Marshal(key)
	if err != nil {
		w.problem = err
		return
	}
	body, err := json.Marshal(value)
	if err != nil {
		w.problem = fmt.Errorf("%s: %w", key, err)
		return
	}
	if w.buffer.Len() > 0 {
		w.buffer.WriteByte(',')
	}
	w.buffer.Write(name)
	w.buffer.WriteByte(':')
	w.buffer.Write(body)
}

func (w *objectWriter) close() ([]byte, error) {
	if w.problem != nil {
		return nil, w.problem
	}
	return append(append([]byte{'{'}, w.buffer.Bytes()...), '}'), nil
}

// UnmarshalJSON reads what MarshalJSON wrote, the arrival included. It believes
// the times: they were checked when the event came in.
func (e *Event) UnmarshalJSON(body []byte) error {
	var fields map[string]any
	if err := json.Unmarshal(body, &fields); err != nil {
		return fmt.Errorf("cellar log: %w", err)
	}
	var stamps struct {
		Tank    string    `json:"tank"`
		Time    time.Time `json:"time"`
		Arrived time.Time `json:"arrived"`
	}
	if err := json.Unmarshal(body, &stamps); err != nil {
		return fmt.Errorf("cellar log: %w", err)
	}
	delete(fields, "time")
	read, err := ParseEvent(stamps.Tank, fields, stamps.Arrived)
	if err != nil {
		return fmt.Errorf("cellar log: %w", err)
	}
	read.Time = stamps.Time.UTC()
	read.Arrived = stamps.Arrived.UTC()
	*e = read
	return nil
}
