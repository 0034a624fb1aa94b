package ingest

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"spile/detect"
)

// SenML, RFC 8428.
const (
	senmlVersion = 10        // section 4.4: the version of this RFC, and what a pack without bver has
	absoluteFrom = 268435456 // section 4.5.3: 2^28 and above counts from 1970, below from now
)

// senmlLabels are the labels of RFC 8428, section 12.2, in the order of its table. It is read only.
var senmlLabels = []string{"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"}

// record is a SenML record with the base fields worked into it.
type record struct {
	Name  string
	Unit  string
	Value *float64 // nil: it carries a text, a truth, data, or a sum only
	Time  float64  // absolute from absoluteFrom on, else relative to now
	Fault string   // why it cannot be taken; empty: nothing is wrong
}

// pack resolves records one after the other; the base fields hold from the
// record that gives them to the end of the pack.
type pack struct {
	name, unit       string
	time, value, sum float64
}

// resolve reads a SenML pack. Its error refuses the pack as a whole; a fault in
// one record stands in the record.
func resolve(text []byte) ([]record, error) {
	var raw []map[string]json.RawMessage
	if !json.Valid(text) {
		return nil, errors.New(syntaxError(text))
	}
	if err := json.Unmarshal(text, &raw); err != nil {
		return nil, errors.New("a SenML pack is a list of objects (RFC 8428)")
	}
	var p pack
	var records []record
	for i, fields := range raw {
		if err := p.base(fields); err != nil {
			return nil, fmt.Errorf("record %d: %w", i+1, err)
		}
		if r, ok := p.record(fields); ok {
			records = append(records, r)
		}
	}
	return records, nil
}

// base takes the base fields of a record and refuses what must be understood
// and is not.
func (p *pack) base(fields map[string]json.RawMessage) error {
	version := float64(senmlVersion)
	for _, b := range []struct {
		label string
		into  any
	}{{"bn", &p.name}, {"bu", &p.unit}, {"bt", &p.time}, {"bv", &p.value}, {"bs", &p.sum}, {"bver", &version}} {
		if body, ok := fields[b.label]; ok {
			if err := json.Unmarshal(body, b.into); err != nil || string(body) == "null" {
				return fmt.Errorf("%s is %s: look at its type in RFC 8428, section 4.1", b.label, printable(string(body)))
			}
		}
	}
	if version > senmlVersion {
		return fmt.Errorf("bver is %g: versions up to %d are understood", version, senmlVersion)
	}
	for label := range fields {
		if strings.HasSuffix(label, "_") {
			return fmt.Errorf("%q must be understood (RFC 8428, section 4.4) and is not: leave it out", printable(label))
		}
	}
	return nil
}

// record resolves the fields of one record; a record of base fields only is none.
func (p *pack) record(fields map[string]json.RawMessage) (record, bool) {
	regular := senmlLabels[slices.Index(senmlLabels, "n"):]
	if !slices.ContainsFunc(regular, func(label string) bool { _, ok := fields[label]; return ok }) {
		return record{}, false
	}
	r := record{Unit: p.unit}
	var name string
	var own, v float64
	var fault error
	for _, f := range []struct {
		label string
		into  any
	}{{"n", &name}, {"u", &r.Unit}, {"t", &own}, {"v", &v}} {
		if body, ok := fields[f.label]; ok && (json.Unmarshal(body, f.into) != nil || string(body) == "null") {
			fault = errors.Join(fault, fmt.Errorf("%s is %s", f.label, printable(string(body))))
		}
	}
	r.Name, r.Time = p.name+name, p.time+own
	if _, ok := fields["v"]; ok {
		v += p.value
		r.Value = &v
	}
	if fault == nil {
		fault = wellFormed428(r.Name, fields)
	}
	if fault != nil {
		r.Fault = strings.ReplaceAll(fault.Error(), "\n", ", ")
	}
	return r, true
}

// wellFormed428 holds a record against the rules for names and values.
func wellFormed428(name string, fields map[string]json.RawMessage) error {
	values := 0
	for _, label := range []string{"v", "vs", "vb", "vd"} {
		if _, ok := fields[label]; ok {
			values++
		}
	}
	_, sum := fields["s"]
	switch {
	case values > 1:
		return errors.New("exactly one of v, vs, vb and vd may stand in it")
	case values == 0 && !sum:
		return errors.New("it has no value: one of v, vs, vb and vd must stand in it")
	case !validSenMLName(name):
		return fmt.Errorf("name %q: letters, digits and - : . / _ only, the first a letter or a digit", printable(name))
	}
	return nil
}

// validSenMLName follows RFC 8428, section 4.5.1.
func validSenMLName(name string) bool {
	for i, c := range []byte(name) {
		alphanumeric := c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z'
		if !alphanumeric && (i == 0 || strings.IndexByte("-:./_", c) < 0) {
			return false
		}
	}
	return name != ""
}

// quantityOf is the last part of a record's name: temperature of
// urn:dev:ow:10e2073a01080063:temperature and of tank-3/temperature.
func (r record) quantityOf() (detect.Quantity, bool) {
	q := detect.Quantity(r.Name[strings.LastIndexAny(r.Name, "/:")+1:])
	return q, slices.Contains(detect.Quantities(), q)
}

// senmlUnits are the units of the SenML registry (RFC 8428, section 12.1, and the
// secondary units of RFC 8798) and what they are called in a brewery. A record
// without a unit is in the inside unit. kPa is not registered, but is used. It
// is read only.
var senmlUnits = map[detect.Quantity]map[string]string{
	detect.Gravity:     {"": "SG", "/": "SG"},
	detect.Temperature: {"": "degC", "Cel": "degC", "K": "K"},
	detect.Pressure:    {"": "kPa", "Pa": "Pa", "hPa": "hPa", "kPa": "kPa"},
}

// unitMends say how a quantity is written in SenML. It is read only.
var unitMends = map[detect.Quantity]string{
	detect.Gravity:     `write the gravity as a ratio with unit "/", such as 1.0118`,
	detect.Temperature: `write "Cel" or "K"`,
	detect.Pressure:    `write "Pa" or "hPa", above the atmosphere`,
}

// readSenML reads a SenML pack.
func (h *hearing) readSenML(text []byte) {
	records, err := resolve(text)
	if err != nil {
		h.refuse(ReasonBadSenML, "%v", err)
		return
	}
	known := false
	for i, r := range records {
		q, ok := r.quantityOf()
		if r.Fault != "" {
			known = true // it is told why, so not also that there is nothing
			h.refuse(ReasonBadSenML, "record %d: %s", i+1, r.Fault)
			continue
		}
		if ok {
			known = true
			h.takeRecord(q, r)
		}
	}
	if !known {
		h.refuse(ReasonNoQuantity, "no quantity in it: name a record gravity, temperature or pressure")
	}
}

// takeRecord keeps the value of one record.
func (h *hearing) takeRecord(q detect.Quantity, r record) {
	if r.Value == nil {
		h.refuse(ReasonBadNumber, "%s carries no number: write it in v", q)
		return
	}
	unit, ok := senmlUnits[q][r.Unit]
	if !ok {
		h.refuse(ReasonUnknownUnit, "%s has unit %q: %s", q, printable(r.Unit), unitMends[q])
		return
	}
	at, ok := h.stampRecord(r.Time)
	if ok {
		h.takeFigure(q, map[string]any{"value": *r.Value, "unit": unit}, at)
	}
}

// stampRecord is the time of a record: absolute, or so many seconds from now.
func (h *hearing) stampRecord(seconds float64) (time.Time, bool) {
	if seconds >= absoluteFrom {
		return h.stamp(seconds)
	}
	if h.message.Retained {
		return h.stamp(nil)
	}
	const behind = -float64(detect.MaxBehind / time.Second)
	ago := max(seconds, 2*behind) // further back is too far all the same, and no duration could hold it
	return h.believable(h.arrived.Add(time.Duration(ago * float64(time.Second))).Truncate(time.Millisecond))
}
