package batch

import (
	"time"

	"spile/detect"
)

// Batch is one brew as it stood at a moment.
type Batch struct {
	Tank       string      `json:"tank"`
	Beer       string      `json:"beer,omitempty"` // its name, where the log gives it
	At         time.Time   `json:"at"`
	From       string      `json:"from,omitempty"` // the tank it came from
	Began      time.Time   `json:"began,omitzero"` // pitch, or else the first that was heard of it
	Ended      *time.Time  `json:"ended,omitempty"`
	Stage      Stage       `json:"stage"`
	HoldPoints []HoldPoint `json:"hold_points"`
	Passed     []HoldPoint `json:"passed"` // the hold points as they stood when people went on, oldest first
	Figures    Figures     `json:"figures"`
	Proposals  []Proposal  `json:"proposals"`
	Outlook    []string    `json:"outlook"` // what today's curves lead to if nothing is done
	Open       []string    `json:"open"`    // what is still to be done or known, in words
}

// Figures are the numbers of the brew sheet. What is not known is nil.
type Figures struct {
	OriginalGravity     *float64         `json:"original_gravity,omitempty"` // SG
	OriginalOpen        string           `json:"original_open,omitempty"`    // why it is not the whole any more
	Gravity             *float64         `json:"gravity,omitempty"`          // SG, the newest
	ExpectedGravity     *float64         `json:"expected_gravity,omitempty"` // SG, as pitched or as a forced test ended
	AlcoholByVolume     *float64         `json:"alcohol_by_volume,omitempty"`
	ApparentAttenuation *float64         `json:"apparent_attenuation,omitempty"` // %
	RealAttenuation     *float64         `json:"real_attenuation,omitempty"`     // %
	BeerLiters          *float64         `json:"beer_liters,omitempty"`
	TemperatureCelsius  *float64         `json:"temperature_celsius,omitempty"`
	PressureKPa         *float64         `json:"pressure_kpa,omitempty"`
	CO2GramsPerLiter    *detect.Interval `json:"co2_grams_per_liter,omitempty"` // in the beer
	CO2Volumes          *detect.Interval `json:"co2_volumes,omitempty"`
	CO2How              string           `json:"co2_how,omitempty"`      // measured by hand, or reckoned from what
	FallPoints          *detect.Interval `json:"fall_points,omitempty"`  // points of gravity (0.001 SG) over the last two days
	StableSince         *time.Time       `json:"stable_since,omitempty"` // once shown stable
	HoursAt             []HoursAt        `json:"hours_at"`               // the time that the beer spent at temperature
	HopContactHours     *float64         `json:"hop_contact_hours,omitempty"`
	HopGramsPerLiter    *float64         `json:"hop_grams_per_liter,omitempty"`
}

// HoursAt is how long the beer was in a band of temperature.
type HoursAt struct {
	FromCelsius float64 `json:"from_celsius"`
	ToCelsius   float64 `json:"to_celsius"`
	Hours       float64 `json:"hours"`
}
