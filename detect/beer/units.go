package beer

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Kind is what a figure measures.
type Kind string

// The kinds of figure a brewer gives or is given, each with its inside unit.
const (
	KindGravity     Kind = "gravity"                // inside SG 20/20
	KindTemperature Kind = "temperature"            // inside degC
	KindPressure    Kind = "pressure"               // inside kPa gauge
	KindVolume      Kind = "volume"                 // inside L
	KindMass        Kind = "mass"                   // inside g
	KindCO2         Kind = "CO2"                    // inside g/L
	KindDuration    Kind = "duration"               // inside hours
	KindDifference  Kind = "temperature difference" // inside degC
	KindExtract     Kind = "extract difference"     // inside degP
	KindLength      Kind = "length"                 // inside m, an altitude
	KindAlcohol     Kind = "alcohol"                // inside % v/v
)

// numberAndUnit splits "14.4 degC" into its figure and what stands behind it.
var numberAndUnit = regexp.MustCompile(`^([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*)$`)

// Parse reads a figure with its unit, as "14.4 degC", "58F", "12 psig", "9 kg" or "1.0118", and returns it in the
// inside unit of kind. A bare number is in the inside unit. An error names the text, what it is, and what would fit.
func Parse(text string, kind Kind) (float64, error) {
	plain := strings.ReplaceAll(strings.TrimSpace(text), "\u2212", "-")
	parts := numberAndUnit.FindStringSubmatch(plain)
	if parts == nil {
		return 0, fmt.Errorf("%q begins with no number; %s", text, writtenIn(kind))
	}
	value, err := strconv.ParseFloat(parts[1], 64)
	if err != nil {
		return 0, fmt.Errorf("%q is beyond what a number holds; %s", text, writtenIn(kind))
	}
	if strings.HasPrefix(parts[2], ",") {
		return 0, fmt.Errorf("%q has a comma; write the decimals behind a point, as 14.4", text)
	}
	if hours, ok := compoundHours(plain, kind); ok {
		return hours, nil
	}
	return convertIn(value, parts[2], kind, text)
}

// compoundHours reads a duration of several parts, such as 1h30m.
func compoundHours(text string, kind Kind) (float64, bool) {
	if kind != KindDuration {
		return 0, false
	}
	d, err := time.ParseDuration(strings.ReplaceAll(text, " ", ""))
	return d.Hours(), err == nil
}

// FromUnit turns a value in unit into the inside unit of kind. An empty unit is the inside unit.
func FromUnit(value float64, unit string, kind Kind) (float64, error) {
	text := strings.TrimSpace(strconv.FormatFloat(value, 'g', -1, 64) + " " + unit)
	return convertIn(value, strings.TrimSpace(unit), kind, text)
}

// convertIn is FromUnit for a unit already trimmed; text is what the error quotes.
func convertIn(value float64, unit string, kind Kind, text string) (float64, error) {
	u, err := find(unit, kind, text)
	if err != nil {
		return 0, err
	}
	if !finite(value) {
		return 0, fmt.Errorf("%q is not a finite number; %s", text, writtenIn(kind))
	}
	inside, err := u.in(value)
	if err != nil {
		return 0, fmt.Errorf("%q: %w", text, err)
	}
	if !finite(inside) {
		return 0, fmt.Errorf("%q is beyond what a number holds; %s", text, writtenIn(kind))
	}
	if kind == KindTemperature && inside < -zeroCelsius {
		return 0, fmt.Errorf("%q is below absolute zero; look at the sign and the unit", text)
	}
	return inside, nil
}

// ToUnit turns a value in the inside unit of kind into unit. An empty unit is the inside unit.
func ToUnit(value float64, unit string, kind Kind) (float64, error) {
	u, err := find(strings.TrimSpace(unit), kind, unit)
	if err != nil {
		return 0, err
	}
	if !finite(value) {
		return 0, fmt.Errorf("%g %s is not a finite number", value, InsideUnit(kind))
	}
	shown, err := u.out(value)
	if err == nil && !finite(shown) {
		return 0, fmt.Errorf("%g %s is beyond what a number holds in %s", value, InsideUnit(kind), u.name)
	}
	return shown, err
}

// InsideUnit names the unit in which spile holds a figure of this kind, and in which a bare number is read.
// A kind that is not in the list above has none.
func InsideUnit(kind Kind) string {
	if units := unitsOf[kind]; len(units) > 0 {
		return units[0].name
	}
	return ""
}

// Units lists the units of a kind as spile prints them, the inside unit first.
func Units(kind Kind) []string {
	var names []string
	for _, u := range unitsOf[kind] {
		names = append(names, u.name)
	}
	return names
}

// Print writes a value held in the inside unit of kind in the unit asked for, with the digits that mean something:
// Print(14.4, "degF", KindTemperature) is "57.9 degF".
func Print(value float64, unit string, kind Kind) (string, error) {
	u, err := find(strings.TrimSpace(unit), kind, unit)
	if err != nil {
		return "", err
	}
	shown, err := ToUnit(value, u.name, kind)
	if err != nil {
		return "", err
	}
	return round(shown, u.decimals) + " " + u.name, nil
}

// Both writes a value held in the inside unit of kind in the metric unit and, in brackets, the one read in the
// United States: "14.4 degC (57.9 degF)"; alcohol has one for both. Volumes and masses choose the unit that suits their size. What one of the two
// units cannot say is left out; a value that is no number reads "unknown".
func Both(value float64, kind Kind) string {
	metric, customary := pair(value, kind)
	first, err := Print(value, metric, kind)
	if err != nil {
		return "unknown"
	}
	if metric == customary {
		return first
	}
	second, err := Print(value, customary, kind)
	if err != nil {
		return first
	}
	return first + " (" + second + ")"
}

// BothFrom is Both with the unit first that people here read, such as "57.9 degF (14.4 degC)"; where it is none of the two, or
// none is given, it stands before the metric one, or the two are as Both has them.
func BothFrom(value float64, unit string, kind Kind) string {
	first, err := Print(value, unit, kind)
	if unit == "" || err != nil {
		return Both(value, kind)
	}
	other, customary := pair(value, kind)
	if u, err := find(strings.TrimSpace(unit), kind, unit); err == nil && u.name == other {
		other = customary
	}
	second, err := Print(value, other, kind)
	if err != nil || second == first {
		return first
	}
	return first + " (" + second + ")"
}

// pair chooses the two units in which a figure of this size is read.
func pair(value float64, kind Kind) (metric, customary string) {
	size := math.Abs(value)
	switch {
	case kind == KindVolume && size < 1:
		return "mL", "fl oz"
	case kind == KindVolume && size < 100:
		return "L", "gal"
	case kind == KindMass && size < 1000:
		return "g", "oz"
	}
	p := pairs[kind]
	return p[0], p[1]
}

// pairs are the two units of Both.
var pairs = map[Kind][2]string{
	KindGravity:     {"SG", "degP"},
	KindTemperature: {"degC", "degF"},
	KindPressure:    {"kPa", "psi"},
	KindVolume:      {"hL", "bbl"},
	KindMass:        {"kg", "lb"},
	KindCO2:         {"g/L", "vol"},
	KindDuration:    {"h", "d"},
	KindDifference:  {"degC", "degF"},
	KindExtract:     {"degP", "points"},
	KindLength:      {"m", "ft"},
	KindAlcohol:     {"%", "%"},
}

// round writes a number with fixed decimals and without a sign on zero.
func round(value float64, decimals int) string {
	text := strconv.FormatFloat(value, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return text
}

// finite is false for NaN and the infinities.
func finite(value float64) bool { return !math.IsNaN(value) && !math.IsInf(value, 0) }
