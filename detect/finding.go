package detect

import "time"

// Finding is what a detector holds true, or no longer true, of one tank.
//
// A detector speaks when a condition begins, ends or grows worse; deadbands
// are its own, on-delay and off-delay are the alarm's.
type Finding struct {
	Alarm    Alarm
	Probe    string   // the one probe it is about, where it is about one: probe-silent, probe-fault
	Quantity Quantity // of a refermentation: which witness brought it about, gravity or pressure
	Active   bool
	Worse    bool          // it presses more than when it was told, though its priority cannot say so
	Held     time.Duration // for so long it has held already when it is found: it counts toward the on-delay
	Priority Priority      // empty: the catalogue's default
	Time     time.Time     // arrival of what brought it about
	Onset    time.Time     // in the probes' own time; zero where it is not known
	Summary  string        // one line for a person: tank, what, since when
	Evidence Evidence
}

// Interval is an estimate with its 95 % bounds.
type Interval struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Span is a stretch of time that holds an unknown moment with 95 % confidence.
type Span struct {
	Low  time.Time `json:"low"`
	High time.Time `json:"high"`
}

// Evidence is what a brewer can check of a finding. A part that does not
// apply is absent.
type Evidence struct {
	RatePlatoPerDay      *Interval  `json:"rate_plato_per_day,omitempty"`
	CO2GramsPerLiterDay  *Interval  `json:"co2_grams_per_liter_day,omitempty"`
	Onset                *Span      `json:"onset,omitempty"`
	Witnesses            []string   `json:"witnesses,omitempty"`
	RuledOut             []string   `json:"ruled_out,omitempty"`
	Forecast             *Forecast  `json:"forecast,omitempty"`
	TemperatureCelsius   *float64   `json:"temperature_celsius,omitempty"`
	SetpointCelsius      *float64   `json:"setpoint_celsius,omitempty"`
	PressureKPa          *float64   `json:"pressure_kpa,omitempty"`
	ExplainedPressureKPa *float64   `json:"explained_pressure_kpa,omitempty"`
	ReliefKPa            *float64   `json:"relief_kpa,omitempty"`
	SilentSince          *time.Time `json:"silent_since,omitempty"`
	Probe                string     `json:"probe,omitempty"`
	Outside              bool       `json:"outside,omitempty"` // the probe is in no tank
	Joined               []string   `json:"joined,omitempty"`  // tanks that share its gas, and whose head pressure moved with it
}
