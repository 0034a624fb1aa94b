package page

import (
	"net/url"
	"slices"
	"strings"
	"time"

	"spile/detect"
)

// filterNames are the parameters of a request for readings.
var filterNames = []string{"tank", "probe", "quantity", "from", "to"}

// parseFilter reads the query of a request for readings. An empty parameter counts as absent.
func parseFilter(query string) (Filter, error) {
	values, err := parameters(query, filterNames)
	if err != nil {
		return Filter{}, err
	}
	f := Filter{Tank: values["tank"], Probe: values["probe"], Quantity: detect.Quantity(values["quantity"])}
	for _, parameter := range []string{"tank", "probe"} {
		if v := values[parameter]; v != "" && !detect.ValidName(v) {
			return Filter{}, bad("%s=%q: %s", parameter, v, detect.NameRule)
		}
	}
	if f.Quantity != "" && !slices.Contains(detect.Quantities(), f.Quantity) {
		return Filter{}, bad("quantity=%q: write gravity, temperature or pressure", string(f.Quantity))
	}
	if f.From, err = moment("from", values["from"]); err != nil {
		return Filter{}, err
	}
	if f.To, err = moment("to", values["to"]); err != nil {
		return Filter{}, err
	}
	if !f.From.IsZero() && !f.To.IsZero() && !f.From.Before(f.To) {
		return Filter{}, bad("from=%s is not before to=%s: from is included, to is not", values["from"], values["to"])
	}
	return f, nil
}

// parameters reads a query that may hold each of the given names once, and nothing else.
func parameters(query string, names []string) (map[string]string, error) {
	parsed, err := url.ParseQuery(query)
	if err != nil {
		return nil, bad("the query cannot be read: %v", err)
	}
	values := make(map[string]string, len(parsed))
	for parameter, given := range parsed {
		if !slices.Contains(names, parameter) {
			return nil, bad("unknown parameter %q: this takes %s", parameter, listed(names))
		}
		if len(given) > 1 {
			return nil, bad("%s is given %d times: give it once", parameter, len(given))
		}
		values[parameter] = given[0]
	}
	return values, nil
}

// moment reads a time of the query; empty is the zero time.
func moment(parameter, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if year := t.UTC().Year(); err == nil && (year < 0 || year > 9999) { // RFC 3339 has four digits for it, in UTC too
		return t, bad("%s=%q: write a year of four digits, in UTC too", parameter, text)
	}
	if err != nil && strings.Contains(text, " ") {
		return t, bad("%s=%q: write the + of a time zone as %%2B, or the time in UTC, as 2026-03-02T01:15:00Z", parameter, text)
	}
	if err != nil {
		return t, bad("%s=%q: write the time by RFC 3339, as 2026-03-02T01:15:00Z", parameter, text)
	}
	return t.UTC(), nil
}

// listed joins names for a person: "tank, probe and from".
func listed(names []string) string {
	if len(names) == 0 {
		return "nothing"
	}
	last := len(names) - 1
	if last == 0 {
		return names[0]
	}
	return strings.Join(names[:last], ", ") + " and " + names[last]
}
