package detect

import "time"

// Quantity is what a probe measures in a tank.
type Quantity string

// The quantities that spile hears. Inside, each has one unit.
const (
	Gravity     Quantity = "gravity"     // SG 20/20
	Temperature Quantity = "temperature" // degC, of the beer unless the probe sits in the head
	Pressure    Quantity = "pressure"    // head pressure, kPa gauge
)

// Quantities lists every quantity, in the order people read them.
func Quantities() []Quantity { return []Quantity{Gravity, Temperature, Pressure} }

// Unit is the quantity's inside unit, in words of a brewer.
func (q Quantity) Unit() string {
	switch q {
	case Gravity:
		return "SG"
	case Temperature:
		return "degC"
	case Pressure:
		return "kPa"
	}
	return ""
}

// Reading is one value of one quantity from one probe at one time.
//
// (Tank, Probe, Quantity, Time) is its identity: the same value again is a
// repeat, another value is a conflict and the first one stays.
type Reading struct {
	Tank     string
	Probe    string
	Quantity Quantity
	Time     time.Time // the probe's own, UTC, whole milliseconds
	Value    float64   // inside unit, after the probe's corrections
	Raw      float64   // inside unit, as the probe sent it
	Arrived  time.Time // when spile heard it, UTC, whole milliseconds
	Late     bool      // its probe had already sent something newer: kept, but not judged
}
