package calc

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// significantDigits is how finely an answer is written: finer than any of the formulas is true.
const significantDigits = 6

// Figure is one number of an answer.
type Figure struct {
	Name  string
	Value float64
}

// Result is the answer of a calculation. As JSON it is one flat object: the figures in their order, then "assumed" and
// "caution" where there is something to say.
type Result struct {
	Figures     []Figure
	Assumed     []string // figures that were not given, and what was taken for them
	Caution     string
	calculation Calculation
	inputs      []string
	steps       []string
}

// Explanation shows where an answer comes from.
type Explanation struct {
	Inputs  []string `json:"inputs"`  // the figures put in
	Formula []string `json:"formula"` // in words and letters
	Steps   []string `json:"steps"`   // with the figures put in, as worked by hand
	Source  []string `json:"source"`
	Range   string   `json:"range"`
}

// Explain returns the formula of an answer, its source, its range and its working.
func (r Result) Explain() Explanation {
	c := r.calculation
	return Explanation{Inputs: r.inputs, Formula: c.Formula, Steps: append([]string{}, r.steps...), Source: c.Source, Range: c.Range}
}

// Value returns the figure called name.
func (r Result) Value(name string) (float64, bool) {
	for _, f := range r.Figures {
		if f.Name == name {
			return f.Value, true
		}
	}
	return 0, false
}

// MarshalJSON writes the answer as one flat object.
func (r Result) MarshalJSON() ([]byte, error) { return r.marshal(nil) }

// MarshalExplained is MarshalJSON with an "explain" object behind the figures.
func (r Result) MarshalExplained() ([]byte, error) {
	e := r.Explain()
	return r.marshal(&e)
}

// marshal writes the fields in their order, which a map would lose.
func (r Result) marshal(explain *Explanation) ([]byte, error) {
	var fields []string
	add := func(name string, value any) error {
		var b bytes.Buffer
		encoder := json.NewEncoder(&b)
		encoder.SetEscapeHTML(false)
		if err := encoder.Encode(value); err != nil {
			return fmt.Errorf("writing %s: %w", name, err)
		}
		fields = append(fields, strconv.Quote(name)+":"+strings.TrimSpace(b.String()))
		return nil
	}
	for _, f := range r.Figures {
		if err := add(f.Name, significant(f.Value)); err != nil {
			return nil, err
		}
	}
	if len(r.Assumed) > 0 {
		if err := add("assumed", r.Assumed); err != nil {
			return nil, err
		}
	}
	if r.Caution != "" {
		if err := add("caution", r.Caution); err != nil {
			return nil, err
		}
	}
	if explain != nil {
		if err := add("explain", explain); err != nil {
			return nil, err
		}
	}
	return []byte("{" + strings.Join(fields, ",") + "}"), nil
}

// put adds a figure to the answer.
func (r *Result) put(name string, value float64) {
	r.Figures = append(r.Figures, Figure{Name: name, Value: value})
}

// step adds a line of the working. Numbers among the arguments are written with the digits that count.
func (r *Result) step(format string, args ...any) {
	for i, arg := range args {
		if value, ok := arg.(float64); ok {
			args[i] = digits(value)
		}
	}
	r.steps = append(r.steps, fmt.Sprintf(format, args...))
}

// assume notes what was taken for a figure that was not given.
func (r *Result) assume(format string, args ...any) {
	r.Assumed = append(r.Assumed, fmt.Sprintf(format, args...))
}

// significant rounds to the digits that an answer is written with, and makes no negative zero.
func significant(value float64) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(value, 'g', significantDigits, 64), 64)
	if err != nil || rounded == 0 {
		return 0
	}
	return rounded
}

// digits writes a number for the working, never with an exponent.
func digits(value float64) string {
	value = significant(value)
	if math.Abs(value) >= 1e6 {
		return strconv.FormatFloat(value, 'f', 0, 64)
	}
	return strconv.FormatFloat(value, 'f', -1, 64)
}
