package ingest

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// pattern is a topic with places for names, such as plant/{tank}/dens/{probe}.
type pattern struct {
	text   string
	levels []level
}

// level is one part of a pattern between slashes: a literal, a literal around
// one name, or "+", which fits anything.
type level struct {
	before, name, after string
	any                 bool
}

// place is what a topic says of its message. What it does not say is empty.
type place struct{ tank, probe, quantity string }

// The names a pattern can hold.
const (
	nameTank     = "tank"
	nameProbe    = "probe"
	nameQuantity = "quantity"
)

// parsePattern reads a pattern.
func parsePattern(text string) (pattern, error) {
	p := pattern{text: text}
	if text == "" {
		return p, errors.New("the topic is empty: write one such as plant/{tank}/dens/{probe}")
	}
	var seen []string
	for part := range strings.SplitSeq(text, "/") {
		l, err := parseLevel(part)
		if err != nil {
			return p, fmt.Errorf("topic %q: %w", text, err)
		}
		if l.name != "" && slices.Contains(seen, l.name) {
			return p, fmt.Errorf("topic %q: {%s} stands there twice: keep one", text, l.name)
		}
		seen = append(seen, l.name)
		p.levels = append(p.levels, l)
	}
	return p, nil
}

func parseLevel(part string) (level, error) {
	if part == "+" {
		return level{any: true}, nil
	}
	if strings.ContainsAny(part, "+#\x00") {
		return level{}, fmt.Errorf("%q: a + stands alone between slashes, and # is not taken", part)
	}
	before, rest, found := strings.Cut(part, "{")
	if !found {
		return level{before: part}, braces(part)
	}
	name, after, closed := strings.Cut(rest, "}")
	if !closed {
		return level{}, fmt.Errorf("%q: the } is missing", part)
	}
	if name != nameTank && name != nameProbe && name != nameQuantity {
		return level{}, fmt.Errorf("{%s} is not known: write {tank}, {probe} or {quantity}", name)
	}
	return level{before: before, name: name, after: after}, braces(before + after)
}

// braces refuses what is left of braces once a name was taken out.
func braces(rest string) error {
	if strings.ContainsAny(rest, "{}") {
		return fmt.Errorf("%q: one {name} between two slashes, with both braces", rest)
	}
	return nil
}

// has tells whether the pattern holds a name.
func (p pattern) has(name string) bool {
	return slices.ContainsFunc(p.levels, func(l level) bool { return l.name == name })
}

// match takes a topic apart. It allocates nothing.
func (p pattern) match(topic string) (place, bool) {
	var found place
	last := len(p.levels) - 1
	for i, l := range p.levels {
		part, rest, more := strings.Cut(topic, "/")
		if more != (i < last) {
			return place{}, false
		}
		topic = rest
		value, ok := l.match(part)
		if !ok {
			return place{}, false
		}
		switch l.name {
		case nameTank:
			found.tank = value
		case nameProbe:
			found.probe = value
		case nameQuantity:
			found.quantity = value
		}
	}
	return found, true
}

// match holds one level against one part of a topic and returns what stands in
// the place of its name.
func (l level) match(part string) (string, bool) {
	if l.any {
		return "", true
	}
	if l.name == "" {
		return "", part == l.before
	}
	if len(part) < len(l.before)+len(l.after) || !strings.HasPrefix(part, l.before) || !strings.HasSuffix(part, l.after) {
		return "", false
	}
	return part[len(l.before) : len(part)-len(l.after)], true
}

// filter is the pattern as an MQTT topic filter.
func (p pattern) filter() string {
	parts := make([]string, len(p.levels))
	for i, l := range p.levels {
		parts[i] = l.before
		if l.any || l.name != "" {
			parts[i] = "+"
		}
	}
	return strings.Join(parts, "/")
}

// covers tells whether every topic that fits filter b fits filter a too.
func covers(a, b string) bool {
	as, bs := strings.Split(a, "/"), strings.Split(b, "/")
	if len(as) != len(bs) {
		return false
	}
	for i := range as {
		if as[i] != "+" && as[i] != bs[i] {
			return false
		}
	}
	return true
}
