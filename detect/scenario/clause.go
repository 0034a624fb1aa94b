package scenario

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// clause is one thing that a kind of statement may say of a T: a name and, behind it, what measure asks for.
type clause[T any] struct {
	name      string
	measure   measure
	low, high float64 // of a figure, in the unit of the measure, both included
	set       func(*T, given)
}

// given is what stood behind a clause's name.
type given struct {
	figure float64
	word   string
	line   int
}

// hours is the figure as a duration, to the second.
func (g given) hours() time.Duration {
	return time.Duration(g.figure * float64(time.Hour)).Round(time.Second)
}

// measure is what a clause is followed by; it reads as the unit in which the figure is held.
type measure string

// The measures.
const (
	nothing measure = "nothing"
	name    measure = "a name"
	text    measure = "text"
	count   measure = "a whole number"
	share   measure = "%" // held as 0 to 1
	liters  measure = "L"
	grams   measure = "g"
	celsius measure = "degC"
	kelvin  measure = "K"
	kPa     measure = "kPa"
	hours   measure = "h"
	co2     measure = "g/L"
	degP    measure = "degP" // of extract there is
	change  measure = "degP of extract"
	sgStep  measure = "SG" // more or less
)

// kinds are the measures that package beer reads.
var kinds = map[measure]beer.Kind{
	liters: beer.KindVolume, grams: beer.KindMass, celsius: beer.KindTemperature, kelvin: beer.KindDifference,
	kPa: beer.KindPressure, hours: beer.KindDuration, co2: beer.KindCO2, change: beer.KindExtract,
}

// read takes in what stands behind a clause's name.
func (m measure) read(behind string) (given, error) {
	switch m {
	case nothing:
		if behind != "" {
			return given{}, fmt.Errorf("%s is too much: nothing stands behind it", quoted(behind))
		}
		return given{}, nil
	case text:
		return given{word: behind}, nil
	case name:
		if !detect.ValidName(behind) {
			return given{}, fmt.Errorf("%s: %s", quoted(behind), detect.NameRule)
		}
		return given{word: behind}, nil
	}
	if behind == "" {
		return given{}, fmt.Errorf("needs a figure behind it, in %s", m)
	}
	figure, err := m.figure(behind)
	return given{figure: figure, word: behind}, err
}

// figure reads a figure.
func (m measure) figure(behind string) (float64, error) {
	switch m {
	case count:
		n, err := strconv.ParseUint(behind, 10, 32)
		if err != nil {
			return 0, fmt.Errorf("%s is no whole number: write digits alone", quoted(behind))
		}
		return float64(n), nil
	case share:
		number, percent := strings.CutSuffix(behind, "%")
		value, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || !percent {
			return 0, fmt.Errorf("%s is no share: write it as 30 %%", quoted(behind))
		}
		return value / 100, nil
	case degP:
		sg, err := beer.Parse(behind, beer.KindGravity)
		if err != nil {
			return 0, err
		}
		return beer.Plato(sg)
	case sgStep:
		if value, err := strconv.ParseFloat(behind, 64); err == nil {
			return value, nil
		}
		plato, err := beer.Parse(behind, beer.KindExtract)
		return plato / (1000 * beer.PlatoPerPoint), err
	}
	return beer.Parse(behind, kinds[m])
}

// fill lets every phrase set its part of what the statement is about.
func fill[T any](into *T, what string, phrases []phrase, table []clause[T]) error {
	said := map[string]bool{}
	for _, p := range phrases {
		c, behind, ok := find(p.text, table)
		if !ok {
			return unknown(p, what, table)
		}
		if said[c.name] {
			return faultAt(p.line, "%s: %s is said twice: say it once", what, c.name)
		}
		said[c.name] = true
		g, err := c.measure.read(behind)
		if err != nil {
			return faultAt(p.line, "%s: %s: %s", what, c.name, err)
		}
		if c.high > c.low && !(g.figure >= c.low && g.figure <= c.high) {
			return faultAt(p.line, "%s: %s %s is out of reach: write %s", what, c.name, quoted(behind), c.span())
		}
		g.line = p.line
		c.set(into, g)
	}
	return nil
}

// span says which figures a clause takes.
func (c clause[T]) span() string {
	if c.measure == share {
		return fmt.Sprintf("%g to %g %%", 100*c.low, 100*c.high)
	}
	return strings.TrimSpace(fmt.Sprintf("%g to %g %s", c.low, c.high, c.measure))
}

// find finds the clause by the longest name that the phrase begins with.
func find[T any](phrase string, table []clause[T]) (best clause[T], behind string, ok bool) {
	for _, c := range table {
		rest, has := strings.CutPrefix(phrase, c.name)
		if has && (rest == "" || rest[0] == ' ') && (!ok || len(c.name) > len(best.name)) {
			best, behind, ok = c, strings.TrimSpace(rest), true
		}
	}
	return best, behind, ok
}

// unknown names the clause that was most likely meant.
func unknown[T any](p phrase, what string, table []clause[T]) error {
	var known []string
	for _, c := range table {
		known = append(known, c.name)
	}
	first, _, _ := strings.Cut(p.text, " ")
	for _, word := range []string{p.text, first} {
		if near := nearest(word, known); near != "" {
			return faultAt(p.line, "%s: %s is not known: did you mean %q?", what, quoted(p.text), near)
		}
	}
	return faultAt(p.line, "%s: %s is not known: write %s", what, quoted(p.text), strings.Join(known, ", "))
}
