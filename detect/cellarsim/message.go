package cellarsim

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// Shape is how a probe writes its messages.
type Shape int

// The shapes.
const (
	Flat       Shape = iota // a flat JSON object, figures in inside units
	FlatUnits               // the same, each figure with a unit of the United States; the last digits are lost
	BareNumber              // a number alone; the topic names the quantity and the arrival is its time
	SenML                   // RFC 8428
)

// Message is what the broker hears.
type Message struct {
	Arrived time.Time
	Topic   string
	Payload []byte
}

// Message writes the arrival as it would come over MQTT, on the topics that spile hears by default.
func (a Arrival) Message() Message {
	m := Message{Arrived: a.Arrived}
	if a.Event != nil {
		m.Topic = "cellar/" + a.Event.Tank + "/log"
		m.Payload = logPayload(*a.Event)
		return m
	}
	first := a.Readings[0]
	m.Topic = "cellar/" + first.Tank + "/" + first.Probe
	switch a.Shape {
	case BareNumber:
		m.Topic += "/" + string(first.Quantity)
		m.Payload = number(nil, first.Value)
	case SenML:
		m.Payload = senML(a.Readings)
	case FlatUnits:
		m.Payload = a.flat(withUnit)
	default:
		m.Payload = a.flat(bare)
	}
	return m
}

// flat writes readings of one time as an object, each figure by figure, and what the probe says of itself.
func (a Arrival) flat(figure func([]byte, detect.Reading) []byte) []byte {
	b := append(make([]byte, 0, 160), `{"time":"`...)
	b = a.Readings[0].Time.AppendFormat(b, time.RFC3339Nano)
	b = append(b, '"')
	for _, r := range a.Readings {
		b = append(b, `,"`...)
		b = append(b, r.Quantity...)
		b = append(b, `":`...)
		b = figure(b, r)
	}
	if a.Battery != 0 {
		b = strconv.AppendInt(append(b, `,"battery":`...), int64(a.Battery), 10)
	}
	if a.Signal != 0 {
		b = strconv.AppendInt(append(b, `,"signal":`...), int64(a.Signal), 10)
	}
	return append(b, '}')
}

// bare writes a figure in its inside unit.
func bare(b []byte, r detect.Reading) []byte { return number(b, r.Value) }

// customary are the units of FlatUnits, with the decimals that such a probe sends.
var customary = map[detect.Quantity]struct {
	kind     beer.Kind
	unit     string
	decimals int
}{
	detect.Gravity:     {beer.KindGravity, "degP", 3},
	detect.Temperature: {beer.KindTemperature, "degF", 2},
	detect.Pressure:    {beer.KindPressure, "psi", 3},
}

// withUnit writes a figure with its customary unit. A figure that the unit cannot say stays in the inside unit.
func withUnit(b []byte, r detect.Reading) []byte {
	c := customary[r.Quantity]
	value, err := beer.ToUnit(r.Value, c.unit, c.kind)
	if err != nil {
		return bare(b, r)
	}
	b = append(b, `{"value":`...)
	b = strconv.AppendFloat(b, value, 'f', c.decimals, 64)
	b = append(b, `,"unit":"`...)
	b = append(b, c.unit...)
	return append(b, `"}`...)
}

// senMLUnits are those of its registry; Pa is a thousandth of the inside unit.
var senMLUnits = map[detect.Quantity]string{detect.Gravity: "/", detect.Temperature: "Cel", detect.Pressure: "Pa"}

// senML writes readings of one time as a pack: base name and base time in the first record.
func senML(readings []detect.Reading) []byte {
	first := readings[0]
	b := append(make([]byte, 0, 160), `[{"bn":"`...)
	b = append(b, first.Tank+"/"+first.Probe+"/"...)
	b = append(b, `","bt":`...)
	b = strconv.AppendFloat(b, float64(first.Time.UnixMilli())/1000, 'f', -1, 64)
	b = append(b, ',')
	for i, r := range readings {
		if i > 0 {
			b = append(b, `,{`...)
		}
		value := r.Value
		if r.Quantity == detect.Pressure {
			value = math.Round(value * 1000)
		}
		b = append(b, `"n":"`+string(r.Quantity)+`","u":"`+senMLUnits[r.Quantity]+`","v":`...)
		b = append(number(b, value), '}')
	}
	return append(b, ']')
}

// number writes a figure with the fewest digits that read back as the same.
func number(b []byte, value float64) []byte { return strconv.AppendFloat(b, value, 'f', -1, 64) }

// logUnits are the units in which the log's amounts are written, by field; a field that is not here is a bare number.
var logUnits = map[string]string{
	"gravity": "SG", "expected": "SG", "setpoint": "degC", "temperature": "degC", "volume": "L", "mass": "g",
	"pressure": "kPa", "hold": "kPa", "to": "kPa", "co2": "g/L",
}

// logPayload writes a line of the cellar log.
func logPayload(e detect.Event) []byte {
	fields := map[string]any{"event": e.Name, "time": e.Time.Format(time.RFC3339Nano)}
	for field, value := range e.Amounts {
		text := string(number(nil, value))
		if unit := logUnits[field]; unit != "" {
			text += " " + unit
		}
		fields[field] = text
	}
	for field, word := range e.Words {
		fields[field] = word
	}
	payload, err := json.Marshal(fields)
	if err != nil {
		panic("cellarsim: a log line of strings does not marshal: " + err.Error())
	}
	return payload
}
