package calc

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"spile/detect/beer"
)

// given holds a calculation's figures, read, in the inside unit of their kind.
type given struct {
	values  map[string]float64
	assumed []string // the defaults taken
	lines   []string // every figure put in, in both units
}

// of returns a figure by its name; one that may be left out and was is 0.
func (g given) of(name string) float64 { return g.values[name] }

// has tells whether the caller gave a figure.
func (g given) has(name string) bool {
	_, ok := g.values[name]
	return ok
}

// read turns the caller's text into figures.
func (c Calculation) read(args map[string]string) (given, error) {
	if err := c.refuseUnknown(args); err != nil {
		return given{}, err
	}
	g := given{values: map[string]float64{}}
	for _, in := range c.Inputs {
		text, ok := args[in.Name]
		if !ok && in.Optional {
			continue
		}
		if !ok && in.Default == "" {
			return given{}, usagef("%s is missing; for example: spile calc %s %s", in.Name, c.Name, c.Example)
		}
		if !ok {
			text = in.Default
			g.assumed = append(g.assumed, in.Name+" "+in.Default)
		}
		value, err := in.parse(text)
		if err != nil {
			return given{}, err
		}
		g.values[in.Name] = value
		g.lines = append(g.lines, in.Name+" "+in.written(value))
	}
	return g, nil
}

// written shows a figure as it was understood.
func (in Input) written(value float64) string {
	if in.Single {
		return digits(value) + " " + beer.InsideUnit(in.Kind)
	}
	return beer.Both(value, in.Kind)
}

// refuseUnknown finds the first key, by the alphabet, that the calculation does not take.
func (c Calculation) refuseUnknown(args map[string]string) error {
	for _, key := range slices.Sorted(maps.Keys(args)) {
		if !slices.ContainsFunc(c.Inputs, func(in Input) bool { return in.Name == key }) {
			return usagef("there is no %q here; it takes %s", key, c.inputNames())
		}
	}
	return nil
}

// parse reads one figure. A wrong unit is the caller's error, a figure beyond a formula's range is physics.
func (in Input) parse(text string) (float64, error) {
	text = strings.TrimSpace(text)
	if _, err := strconv.ParseFloat(text, 64); err == nil && in.Bare != "" {
		text += " " + in.Bare
	}
	value, err := beer.Parse(text, in.Kind)
	switch {
	case err == nil:
		return value, nil
	case errors.Is(err, beer.ErrRange):
		return 0, fmt.Errorf("%s: %w", in.Name, err)
	}
	return 0, usagef("%s: %w", in.Name, err)
}
