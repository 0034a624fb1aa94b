package ingest

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"time"

	"spile/detect"
)

// readOwn reads a payload of spile's own: a JSON object, SenML or a bare
// number, told apart by the first byte.
func (h *hearing) readOwn() {
	payload := bytes.TrimSpace(h.message.Payload)
	switch {
	case len(payload) == 0:
		h.refuse(ReasonBadJSON, `the payload is empty: send {"gravity":1.0118,"temperature":14.3}`)
	case payload[0] == '{':
		h.readObject(payload)
	case payload[0] == '[':
		h.readSenML(payload)
	default:
		h.readNumber(string(payload))
	}
}

// readNumber reads a bare number, of the quantity that the topic names.
func (h *hearing) readNumber(text string) {
	q := detect.Quantity(h.place.quantity)
	first := strings.IndexByte("+-.0123456789", text[0]) >= 0
	switch {
	case q == "" && first:
		h.refuse(ReasonNoQuantity, "a bare number needs its quantity in the topic: publish on cellar/%s/%s/gravity, temperature or pressure",
			h.place.tank, h.place.probe)
		return
	case !first && q == "":
		h.refuse(ReasonBadJSON, `neither a JSON object nor SenML: send {"gravity":1.0118,"temperature":14.3}`)
		return
	}
	if at, ok := h.stamp(nil); ok {
		h.takeFigure(q, text, at)
	}
}

// flat is what spile reads of a JSON object; the values are still JSON.
type flat struct {
	time, value, unit              []byte
	gravity, temperature, pressure []byte
	battery, signal                []byte
	twice                          string // a key that came again
}

// slot is the place of a key, nil for one that spile does not read.
func (f *flat) slot(key []byte) *[]byte {
	switch string(key) {
	case "time":
		return &f.time
	case "value":
		return &f.value
	case "unit":
		return &f.unit
	case string(detect.Gravity):
		return &f.gravity
	case string(detect.Temperature):
		return &f.temperature
	case string(detect.Pressure):
		return &f.pressure
	case "battery":
		return &f.battery
	case "signal":
		return &f.signal
	}
	return nil
}

// scan fills f from the members of a valid JSON object. A null is no value.
func (f *flat) scan(object []byte) {
	members := members{text: object}
	for {
		key, value, more := members.next()
		if !more {
			return
		}
		slot := f.slot(key)
		if slot == nil || string(value) == "null" {
			continue
		}
		if *slot != nil {
			f.twice = string(key)
		}
		*slot = value
	}
}

// readObject reads {"time":…,"gravity":…,"temperature":…,"pressure":…}. Where
// the topic names the quantity, {"value":…,"unit":…} is taken too.
func (h *hearing) readObject(object []byte) {
	if !json.Valid(object) {
		h.refuse(ReasonBadJSON, "%s", syntaxError(object))
		return
	}
	var f flat
	f.scan(object)
	if f.twice != "" {
		h.refuse(ReasonBadJSON, "the key %q stands there twice: nobody can tell which one holds", f.twice)
		return
	}
	if q := h.place.quantity; q != "" && f.value != nil {
		f.nest(q)
	}
	if f.gravity == nil && f.temperature == nil && f.pressure == nil {
		h.refuse(ReasonNoQuantity, `no quantity in it: send gravity, temperature or pressure, as {"gravity":1.0118,"temperature":14.3}`)
		return
	}
	at, ok := h.stampJSON(f.time)
	if !ok {
		return
	}
	h.out.Readings = make([]detect.Reading, 0, len(detect.Quantities()))
	h.takeJSON(detect.Gravity, f.gravity, at)
	h.takeJSON(detect.Temperature, f.temperature, at)
	h.takeJSON(detect.Pressure, f.pressure, at)
	h.takeStamina(f.battery, f.signal)
}

// nest moves a value and its unit to the quantity that the topic names.
func (f *flat) nest(quantity string) {
	slot := f.slot([]byte(quantity))
	if f.unit == nil {
		*slot = f.value
		return
	}
	*slot = []byte(`{"value":` + string(f.value) + `,"unit":` + string(f.unit) + `}`)
}

// stampJSON is stamp for a time that is still JSON; nil: there is none.
func (h *hearing) stampJSON(value []byte) (time.Time, bool) {
	if value == nil {
		return h.stamp(nil)
	}
	if v, ok := number(value); ok {
		return h.stamp(v)
	}
	if text, ok := plainString(value); ok {
		return h.stamp(text)
	}
	var v any
	if err := json.Unmarshal(value, &v); err != nil {
		h.refuse(ReasonBadTime, "time %s is beyond what a number holds: write RFC 3339, or seconds since 1970", printable(string(value)))
		return time.Time{}, false
	}
	return h.stamp(v)
}

// takeJSON is takeFigure for a value that is still JSON; nil: there is none.
func (h *hearing) takeJSON(q detect.Quantity, value []byte, at time.Time) {
	if value == nil {
		return
	}
	if v, ok := number(value); ok {
		h.take(q, v, at)
		return
	}
	var v any
	if err := json.Unmarshal(value, &v); err != nil {
		h.refuse(ReasonBadNumber, "%s: %s is beyond what a number holds", q, printable(string(value)))
		return
	}
	h.takeFigure(q, v, at)
}

// syntaxError says where a text stops being JSON.
func syntaxError(text []byte) string {
	decoder := json.NewDecoder(bytes.NewReader(text))
	var v any
	err := decoder.Decode(&v)
	if err == nil {
		if _, err = decoder.Token(); err == nil || errors.Is(err, io.EOF) {
			return "more follows after the end of the JSON text: send one object a message"
		}
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return "the JSON text is cut off: is the sender's buffer too small?"
	}
	return "bad JSON: " + printable(err.Error())
}
