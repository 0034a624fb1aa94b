package scenario

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/beer"
	"spile/detect/cellarsim"
)

// list is readings one by one.
type list struct {
	tank, probe string
	quantity    detect.Quantity
	every       time.Duration
	from        time.Time
	noise       float64
	values      []listed
}

// listed is a value, or a reading that is left out.
type listed struct {
	value float64
	none  bool
}

// longestList bounds what "x" can ask for, in all the lists of a file: a month of readings, one a minute.
const longestList = 50_000

// listing is a list being read from its clauses.
type listing struct {
	list
	since    string // as it is written
	written  string
	valuesAt int // line
}

// listClauses say what a list holds; step is the measure of its noise.
func listClauses(step measure) []clause[listing] {
	return []clause[listing]{
		{"every", hours, 1.0 / 3600, 24, func(l *listing, g given) { l.every = g.hours() }},
		{"from", text, 0, 0, func(l *listing, g given) { l.since = g.word }},
		{"noise", step, 0, 100, func(l *listing, g given) { l.noise = g.figure }},
		{"values", text, 0, 0, func(l *listing, g given) { l.written, l.valuesAt = g.word, g.line }},
	}
}

// readList takes readings one by one.
func (r *reader) readList(s statement) error {
	t, probe, err := r.probeOf(s)
	if err != nil {
		return err
	}
	kind, step, ok := measured(detect.Quantity(s.phrases[0].text))
	if !ok {
		return faultAt(s.line, "list %s: %s is nothing that a probe measures: write gravity, temperature or pressure first",
			probe, quoted(s.phrases[0].text))
	}
	l := listing{list: list{
		tank: t.Model.Name, probe: probe, quantity: detect.Quantity(s.phrases[0].text), from: r.out.Start,
	}}
	if err := fill(&l, "list "+probe, s.phrases[1:], listClauses(step)); err != nil {
		return err
	}
	if l.every == 0 || l.written == "" {
		return faultAt(s.line, "list %s: say how often and what, as in \"every 10 min, values 14.4 x20 then 14.4 to 18 x6\"", probe)
	}
	if l.since != "" {
		if l.from, err = r.moment(s.line, words(l.since)); err != nil {
			return err
		}
	}
	if l.values, err = readValues(l.written, kind); err != nil {
		return faultAt(l.valuesAt, "list %s: %s", probe, err)
	}
	if r.listed += len(l.values); r.listed > longestList {
		return faultAt(l.valuesAt, "list %s: more than %d values in all the lists: make them shorter", probe, longestList)
	}
	t.lists = append(t.lists, l.list)
	return nil
}

// measured gives how a quantity's values are read, and its noise.
func measured(q detect.Quantity) (beer.Kind, measure, bool) {
	switch q {
	case detect.Gravity:
		return beer.KindGravity, sgStep, true
	case detect.Temperature:
		return beer.KindTemperature, kelvin, true
	case detect.Pressure:
		return beer.KindPressure, kPa, true
	}
	return "", "", false
}

// readValues reads "14.4 x20 then 14.4 to 18 x6 then nothing x3".
func readValues(text string, kind beer.Kind) ([]listed, error) {
	var out []listed
	for _, part := range strings.Split(text, " then ") {
		n, part, err := times(strings.TrimSpace(part))
		if err != nil {
			return nil, err
		}
		if len(out)+n > longestList {
			return nil, fmt.Errorf("more than %d values: make the list shorter", longestList)
		}
		first, last, rising := strings.Cut(part, " to ")
		var from, to float64
		if part != "nothing" {
			if from, err = beer.Parse(first, kind); err != nil {
				return nil, err
			}
			to = from
		}
		if rising {
			if to, err = beer.Parse(last, kind); err != nil {
				return nil, err
			}
		}
		for i := range n {
			along := from
			if n > 1 {
				along += (to - from) * float64(i) / float64(n-1)
			}
			out = append(out, listed{value: along, none: part == "nothing"})
		}
	}
	return out, nil
}

// times takes the "x20" off the end of a part; without one it stands once.
func times(part string) (n int, rest string, err error) {
	i := strings.LastIndex(part, " x")
	if i < 0 {
		return 1, part, nil
	}
	n, err = strconv.Atoi(part[i+2:])
	if err != nil || n < 1 || n > longestList {
		return 0, "", fmt.Errorf("%s says no number of readings: write x20, up to x%d", quoted(part[i+1:]), longestList)
	}
	return n, strings.TrimSpace(part[:i]), nil
}

// arrivals gives the readings in the order of the list.
func (l list) arrivals(rng *rand.Rand) []cellarsim.Arrival {
	var out []cellarsim.Arrival
	for i, v := range l.values {
		at := l.from.Add(time.Duration(i) * l.every)
		value := v.value + l.noise*rng.NormFloat64()
		if v.none {
			continue
		}
		out = append(out, cellarsim.Arrival{Arrived: at, Readings: []detect.Reading{{
			Tank: l.tank, Probe: l.probe, Quantity: l.quantity, Time: at, Value: value, Raw: value, Arrived: at,
		}}})
	}
	return out
}
