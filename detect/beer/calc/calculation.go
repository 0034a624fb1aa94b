// Package calc is a hand calculator over package beer: a table of named calculations, each with its inputs, outputs,
// formula, source and range, and one way to run them.
//
// It owns the names and fields that programs outside rely on, reads figures with their units, and writes out each answer
// as a brewer would work it by hand. It adds no physics: every figure of an answer comes from package beer, and the
// tests work every written line again. Like beer it is arithmetic only, holds no state and keeps the order in which
// figures are listed.
package calc

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"spile/detect/beer"
)

// ErrUsage is inside every error that is the caller's: an unknown name or key, a missing figure, a wrong unit. Figures
// for which a formula does not hold give beer.ErrRange instead.
var ErrUsage = errors.New("wrong usage")

// usage marks an error as the caller's without adding to its text.
type usage struct{ error }

// Is makes errors.Is(err, ErrUsage) true.
func (usage) Is(target error) bool { return target == ErrUsage }

// Unwrap gives the error inside.
func (u usage) Unwrap() error { return u.error }

// usagef is fmt.Errorf for the caller's errors.
func usagef(format string, args ...any) error { return usage{fmt.Errorf(format, args...)} }

// Input is a figure that a calculation is given.
type Input struct {
	Name     string
	Kind     beer.Kind
	Bare     string // the unit of a bare number; empty for the inside unit of Kind
	Default  string // what stands where the figure is not given; empty for none
	Single   bool   // written out in its inside unit only
	Optional bool   // may be left out without a default; the calculation says what it then assumes
	Meaning  string
}

// Output is a figure of the answer.
type Output struct {
	Name    string
	Unit    string
	Meaning string
}

// Calculation is one entry of the calculator.
type Calculation struct {
	Name    string
	Meaning string
	Example string // the figures of a worked example, as written on the command line
	Inputs  []Input
	Outputs []Output
	Formula []string
	Source  []string
	Range   string
	Caution string // for answers on which somebody's safety may hang
	work    func(given, *Result) error
}

// All lists the calculations in the order in which a brewer learns them.
func All() []Calculation {
	return slices.Concat(gravityCalculations, fermentationCalculations, carbonationCalculations, tankCalculations,
		packageCalculations, unitCalculations)
}

// Find returns the calculation called name.
func Find(name string) (Calculation, error) {
	all := All()
	for _, c := range all {
		if c.Name == name {
			return c, nil
		}
	}
	var names []string
	for _, c := range all {
		names = append(names, c.Name)
	}
	return Calculation{}, usagef("no calculation is called %q; there are %s", name, strings.Join(names, ", "))
}

// Run works out the calculation called name with the figures in args, by the names of its inputs, each with its unit:
// Run("co2", map[string]string{"temperature": "38degF", "pressure": "12psi"}).
func Run(name string, args map[string]string) (Result, error) {
	c, err := Find(name)
	if err != nil {
		return Result{}, err
	}
	in, err := c.read(args)
	if err != nil {
		return Result{}, fmt.Errorf("%s: %w", name, err)
	}
	result := Result{calculation: c, Assumed: in.assumed, inputs: in.lines, Caution: c.Caution}
	if err := c.work(in, &result); err != nil {
		return Result{}, fmt.Errorf("%s: %w", name, err)
	}
	return result, nil
}

// inputNames lists what a calculation can be given.
func (c Calculation) inputNames() string {
	var names []string
	for _, in := range c.Inputs {
		names = append(names, in.Name)
	}
	return strings.Join(names, ", ")
}

// More lists what may be given besides the figures of the example, each with the value that otherwise stands.
func (c Calculation) More() string {
	var more []string
	for _, in := range c.Inputs {
		switch {
		case strings.Contains(c.Example, in.Name+"="):
		case in.Optional:
			more = append(more, in.Name+"=")
		case in.Default != "":
			more = append(more, in.Name+"="+strings.ReplaceAll(in.Default, " ", ""))
		}
	}
	return strings.Join(more, " ")
}
