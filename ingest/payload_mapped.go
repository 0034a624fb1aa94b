package ingest

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"spile/detect"
	"spile/detect/beer"
)

// mapping reads foreign JSON by pointers.
type mapping struct {
	fields []mappedField // in the order of detect.Quantities
	time   pointer
	timed  bool // the time is looked for
	millis bool // a time that is a number counts milliseconds

	battery, signal *pointer // nil: not looked for
}

// mappedField is where one quantity stands.
type mappedField struct {
	quantity detect.Quantity
	at       pointer
	text     string // the pointer as it was written
	unit     string
}

// compileMapping checks the fields of a source.
func compileMapping(s Source) (*mapping, error) {
	m := &mapping{timed: s.Time != "", millis: s.TimeUnit == "ms"}
	if s.TimeUnit != "" && s.TimeUnit != "s" && s.TimeUnit != "ms" {
		return nil, fmt.Errorf("time: unit %q: write s or ms; a text is read as RFC 3339", s.TimeUnit)
	}
	var err error
	if m.time, err = parsePointer(s.Time); err != nil {
		return nil, fmt.Errorf("time: %w", err)
	}
	if m.battery, err = optionalPointer(s.Battery); err != nil {
		return nil, fmt.Errorf("battery: %w", err)
	}
	if m.signal, err = optionalPointer(s.Signal); err != nil {
		return nil, fmt.Errorf("signal: %w", err)
	}
	for _, q := range detect.Quantities() {
		f, ok := s.Fields[q]
		if !ok {
			continue
		}
		at, err := parsePointer(f.At)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", q, err)
		}
		if _, err := beer.FromUnit(1, f.Unit, kind(q)); err != nil {
			return nil, fmt.Errorf("%s: unit %w", q, err)
		}
		m.fields = append(m.fields, mappedField{quantity: q, at: at, text: f.At, unit: f.Unit})
	}
	for q := range s.Fields {
		if !slices.Contains(detect.Quantities(), q) {
			return nil, fmt.Errorf("field %q: write gravity, temperature, pressure or time", q)
		}
	}
	return m, nil
}

// read reads a message of the source. Where the topic names a quantity, only
// that field is looked for.
func (m *mapping) read(h *hearing) {
	document, err := decodeDocument(h.message.Payload)
	if err != nil {
		h.refuse(ReasonBadJSON, "%v", err)
		return
	}
	own, ok := m.ownTime(h, document)
	if !ok {
		return
	}
	at, ok := h.stamp(own)
	if !ok {
		return
	}
	var missed []string
	before := len(h.out.Refusals)
	for _, f := range m.fields {
		if h.place.quantity != "" && h.place.quantity != string(f.quantity) {
			continue
		}
		v, found := f.at.find(document)
		if !found || v == nil {
			missed = append(missed, fmt.Sprintf("%s at %q", f.quantity, f.text))
			continue
		}
		h.takeFigure(f.quantity, f.withUnit(v), at)
	}
	h.takeStamina(m.battery.text(document), m.signal.text(document))
	if len(h.out.Readings) == 0 && len(h.out.Refusals) == before {
		h.refuse(ReasonNoQuantity, "nothing found, looked for %s: see the source's fields", soughtList(missed))
	}
}

// soughtList joins what was looked for.
func soughtList(missed []string) string {
	if len(missed) == 0 {
		return "no field of this topic's quantity"
	}
	return strings.Join(missed, ", ")
}

// withUnit gives a value the unit that the config names.
func (f mappedField) withUnit(v any) any {
	_, object := v.(map[string]any)
	if f.unit == "" || object {
		return v
	}
	return map[string]any{"value": v, "unit": f.unit}
}

// ownTime finds the time of the message, nil where it has none.
func (m *mapping) ownTime(h *hearing, document any) (any, bool) {
	if !m.timed {
		return nil, true
	}
	v, found := m.time.find(document)
	if !found || v == nil {
		return nil, true
	}
	if !m.millis {
		return v, true
	}
	millis, err := detect.ParseFigure(v, "")
	if err != nil {
		h.refuse(ReasonBadTime, "time: the source says milliseconds since 1970, but it is no such number")
		return nil, false
	}
	return millis / 1000, true
}

// decodeDocument decodes one JSON text.
func decodeDocument(payload []byte) (any, error) {
	var document any
	err := json.Unmarshal(payload, &document)
	switch typed := (*json.UnmarshalTypeError)(nil); {
	case err == nil:
		return document, nil
	case errors.As(err, &typed):
		return nil, fmt.Errorf("%s is beyond what a number holds", printable(typed.Value))
	}
	return nil, errors.New(syntaxError(payload))
}
